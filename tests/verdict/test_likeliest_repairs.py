"""Which repairs a plan to restore names."""

from types import SimpleNamespace

import numpy as np

from triage.verdict.plans import PLANS
from triage.verdict.tables import RESTORE, likeliest_repairs

WEAR = PLANS.index("wear")


def test_the_likeliest_state_that_is_best_restored_names_the_repairs_and_where_there_is_none_nothing_does():
    # Three pairs, two candidates, two states each.
    states = np.array([[[0.5, 0.2], [0.1, 0.2]], [[0.1, 0.1], [0.3, 0.5]], [[0.7, 0.1], [0.1, 0.1]]])
    plan = np.array([
        [[WEAR, RESTORE], [RESTORE, WEAR]],
        [[RESTORE, RESTORE], [RESTORE, WEAR]],
        [[WEAR, WEAR], [WEAR, WEAR]],
    ])  # fmt: skip
    fitting = SimpleNamespace(
        plan=plan, mending=np.array([[4, 5], [6, 7], [8, 9]]), repair=np.arange(12).reshape(3, 2, 2)
    )
    scene = SimpleNamespace(states=states, fitting=fitting)
    mending, chosen = likeliest_repairs(scene, np.arange(3))
    assert mending.tolist() == [4, 7, -1]
    assert chosen.tolist() == [1, 6, -1]
    # Of some of them, in any order.
    assert likeliest_repairs(scene, np.array([2, 0])).tolist() == [[-1, 4], [-1, 1]]
    assert likeliest_repairs(scene, np.array([], dtype=np.int64)).shape == (2, 0)
