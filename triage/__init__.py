"""Nightly triage of saved listings of older athletic and outdoor shoes: buy, ask or skip."""

__version__ = "0.1.0"
