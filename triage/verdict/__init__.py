"""Stage 7, money and the worth of asking: everything above -> posterior, verdict, plan, question."""

from triage.verdict.judging import Ground, Releases, believe, judge, rank, run

__all__ = ["Ground", "Releases", "believe", "judge", "rank", "run"]
