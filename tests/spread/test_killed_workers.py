"""A worker that dies half way: its partition is redone, nothing is doubled."""

import os
import signal
import threading
import time
from collections.abc import Callable

from distributed import Client, LocalCluster

from tests.spread.conftest import PARTITIONS, Left
from triage.spread import Spread, tasks
from triage.spread.cluster import Cluster


class Killing(Cluster):
    """A cluster of which one worker is killed while it is at a partition, once for each of some tasks."""

    def __init__(self, client: Client, of: tuple[Callable, ...], kill: Callable[[str], None]) -> None:
        super().__init__(client)
        self.client, self.of, self.kill = client, [*of], kill
        self.killed: list[tuple[str, str]] = []

    def map(self, work, tasks_):
        """Run tasks, and kill the first worker that has one in hand."""
        if work not in self.of:
            return super().map(work, tasks_)
        self.of.remove(work)
        killer = threading.Thread(target=self._kill_one, args=(work.__name__,))
        killer.start()
        try:
            return super().map(work, tasks_)
        finally:
            killer.join()

    def _kill_one(self, name: str) -> None:
        until = time.monotonic() + 60
        while time.monotonic() < until:
            for worker, keys in self.client.processing().items():
                if any(str(key).startswith(name) for key in keys):
                    self.kill(worker)
                    self.killed.append((name, worker))
                    return
            time.sleep(0.01)


def test_a_worker_closed_in_the_middle_of_a_partition_doubles_nothing(tmp_path, one_buyer, here, local):
    cluster, client = local

    def close(address: str) -> None:
        # Its thread goes on to the end, and writes what another worker writes too.
        (worker,) = (worker for worker in cluster.workers.values() if worker.address == address)
        client.sync(worker.close, executor_wait=False, reason="test")

    engine = Killing(client, (tasks.believe, tasks.judge), close)
    left = Left(tmp_path, one_buyer, Spread(engine, PARTITIONS))
    assert [name for name, _ in engine.killed] == ["believe", "judge"]
    assert len(client.scheduler_info()["workers"]) < PARTITIONS
    assert len(left.tables) == 2
    assert len(left.tables[1]["verdict"]) > 400
    left.is_as(here)


def test_a_process_killed_in_the_middle_of_a_partition_doubles_nothing(tmp_path, one_buyer, here):
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0") as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        pids = client.run(os.getpid)
        engine = Killing(client, (tasks.judge,), lambda address: os.kill(pids[address], signal.SIGKILL))
        left = Left(tmp_path, one_buyer, Spread(engine, PARTITIONS), nights=1)
        assert [name for name, _ in engine.killed] == ["judge"]
        assert set(client.run(os.getpid).values()) != set(pids.values())
    left.is_as(here)
