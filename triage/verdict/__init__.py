"""Stage 7, money and the worth of asking: everything above -> posterior, verdict, plan, question."""

from triage.verdict.believing import believe
from triage.verdict.ground import Ground, Releases
from triage.verdict.judging import judge, rank, run
from triage.verdict.known import Known, know

__all__ = ["Ground", "Known", "Releases", "believe", "judge", "know", "rank", "run"]
