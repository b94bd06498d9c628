"""Tasks on the workers of a dask scheduler: the only module that knows of dask."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager

from distributed import Client, KilledWorker
from distributed.comm import CommClosedError

from triage.errors import STORE_TROUBLE, fail
from triage.spread.engine import Result, Task

# How long a scheduler may take to answer, and its first worker to join, s.
ANSWERS_WITHIN, JOINS_WITHIN = 10, 60
UNDONE = "a scheduler and workers that stay, then the same command again: it goes on where the last step was committed"


class Cluster:
    """The workers of a scheduler."""

    def __init__(self, client: Client) -> None:
        self._client = client

    @property
    def workers(self) -> int:
        """Return how many tasks all workers together work on at once."""
        return sum(self._client.nthreads().values()) or 1

    def map(self, work: Callable[[Task], Result], tasks: Sequence[Task]) -> list[Result]:
        """Return what ``work`` makes of each task, in the tasks' order; what a worker that died had begun is redone."""
        futures = self._client.map(work, list(tasks), pure=False)
        try:
            return list(self._client.gather(futures))
        except KilledWorker as error:
            fail(
                "--scheduler",
                f"several workers died of one task ({error.task})",
                f"more memory; {UNDONE}",
                STORE_TROUBLE,
            )
        except (CancelledError, CommClosedError) as error:
            fail("--scheduler", f"lost ({error})", UNDONE, STORE_TROUBLE)
        finally:
            # What is still waiting after a fault is not begun.
            self._client.cancel(futures)


@contextmanager
def reach(address: str) -> Iterator[Cluster]:
    """Yield the workers of the scheduler at an address, like ``tcp://host:8786``.

    Raises:
        TriageError: Nothing answers there, or it has no worker.
    """
    place = f"--scheduler {address}"
    try:
        client = Client(address, timeout=ANSWERS_WITHIN, set_as_default=False)
    except (OSError, ValueError) as error:
        fail(place, f"no answer ({_line(error)})", "the address of a running dask scheduler, like tcp://host:8786")
    with client:
        try:
            client.wait_for_workers(1, timeout=JOINS_WITHIN)
        except TimeoutError:
            fail(place, f"no worker within {JOINS_WITHIN} s", f"workers: dask worker {address} --nthreads 1")
        yield Cluster(client)


def _line(error: BaseException) -> str:
    return (str(error) or type(error).__name__).splitlines()[0][:200]
