"""Stage 7, money and the worth of asking: everything above -> posterior, verdict, plan, question."""

from triage.verdict.judging import Ground, Known, Releases, believe, judge, know, rank, run

__all__ = ["Ground", "Known", "Releases", "believe", "judge", "know", "rank", "run"]
