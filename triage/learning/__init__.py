"""Learning from what arrived: what was found on inspection, and the numbers of ``rules/`` fitted to it again."""
