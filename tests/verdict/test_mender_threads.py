"""The mendings of a buyer, asked for by several threads at once as chunks of pairs are weighed beside each other."""

import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from triage.verdict import plans
from triage.verdict.plans import Mender

THREADS = 6


@pytest.fixture
def slowly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have every mending take long enough for another thread to come in between."""
    mend = plans.mend

    def slow(*given, **named):
        time.sleep(0.002)
        return mend(*given, **named)

    monkeypatch.setattr(plans, "mend", slow)


@pytest.mark.usefixtures("slowly")
def test_threads_that_ask_at_once_get_the_mendings_that_one_alone_would(known):
    buyer, repairs = known.buyers["bench"], list(known.repairs.values())
    materials = {row["model_id"]: row for row in known.constructions.table.fill_null("").head(60).to_dicts()}
    names = np.array(sorted(materials), dtype=object)[:, None]
    bears = np.random.default_rng(3).random((len(names), 1, 8)) < 0.3
    alone = Mender(repairs, materials, buyer)
    wanted = alone.of(names, bears)
    shared = Mender(repairs, materials, buyer)

    def asked(start: int) -> tuple[np.ndarray, list, list, list]:
        some = slice(start, None, THREADS)
        numbers = shared.of(names[some], bears[some])
        return numbers, *(shared.at(end) for end in (0, 1, 2))

    with ThreadPoolExecutor(THREADS) as threads:
        found = list(threads.map(asked, range(THREADS)))
    assert len(shared.mendings) == len(alone.mendings) > THREADS
    for start, (numbers, *ends) in enumerate(found):
        for end, mendings in enumerate(ends):
            for mine, other in zip(numbers.ravel(), wanted[start::THREADS].ravel(), strict=True):
                one, same = mendings[mine], alone.at(end)[other]
                assert one.sets == same.sets
                assert np.array_equal(one.full_cost, same.full_cost, equal_nan=True)
