"""Options: effects as evaluated, guessed in between, and the part without loss of quality."""

import numpy as np
import pytest

from linkfit.advice.change import Change, Cost
from linkfit.advice.edits import Edit
from linkfit.advice.measures import Measure
from linkfit.advice.options import LEAST_EFFECT, Options, evaluate_singles
from linkfit.advice.tried import Tried
from linkfit.site.model import Service, Site, SizeLaw, Task

TASK = Task(name="t", flow="out", size=SizeLaw(median_bytes=1e6))
HUT = Site(name="hut", services=(
    Service(name="a", kind="own", n_users=1, tasks=(TASK,)),
    Service(name="b", kind="own", n_users=1, tasks=(TASK,)),
))  # fmt: skip


def change(service, level, strength, loss=0.0):
    return Change(
        what="w", service=service, setting=service, before_text="1", after_text=str(level),
        cost_text="c", cost=Cost(quality_loss_frac=loss, effort_h=1.0), strength_frac=strength,
        edits=(Edit(editor="task", service=service, task="t", field="n_parallel", value=level),),
    )  # fmt: skip


def tried(margins):
    def judge(levels):
        return tuple(
            Measure(key=str(i), text="", service="", unit="s", value=1, target_value=1, margin=m)
            for i, m in enumerate(margins(*levels))
        )

    return Tried(HUT, lambda site: [s.tasks[0].n_parallel for s in site.services], judge, 50)


def test_a_level_in_between_gets_its_share_of_the_strongest():
    both = tried(lambda a, b: (-1.0 + (a - 1) * 0.25, 0.3))
    levels = [change("a", 3, 0.5), change("a", 5, 1.0)]
    measured = evaluate_singles(both, [levels], 10)
    assert len(both.outcomes) == 2  # as it is, and the strongest level
    options = Options.build(both.outcome(()), measured, keep_all=False)
    np.testing.assert_allclose(options.problem.effects, [[0.5, 1.0], [0, 0]])
    np.testing.assert_allclose(options.problem.needs, [1.0, -0.3])
    assert list(options.problem.settings) == [0, 0]


def test_where_the_strongest_level_harms_the_weakest_is_evaluated_too():
    both = tried(lambda a, b: (-1.0 + 0.5 * (a > 1), 0.2 - 0.2 * (a > 3)))
    evaluate_singles(both, [[change("a", 2, 0.3), change("a", 5, 1.0)]], 10)
    assert len(both.outcomes) == 3


def test_what_helps_nowhere_is_no_column_unless_all_are_kept():
    both = tried(lambda a, b: (-1.0 + (a - 1), 0.5 - LEAST_EFFECT / 2 * (b - 1)))
    measured = evaluate_singles(both, [[change("a", 2, 1.0)], [change("b", 2, 1.0)]], 10)
    before = both.outcome(())
    assert len(Options.build(before, measured, keep_all=False).changes) == 1
    assert len(Options.build(before, measured, keep_all=True).changes) == 2


def test_no_more_singles_than_asked_for():
    both = tried(lambda a, b: (-1.0 + a + b,))
    measured = evaluate_singles(both, [[change("a", 2, 1.0)], [change("b", 2, 1.0)]], 1)
    assert [levels[0].service for levels, _ in measured] == ["a"]


def test_the_lossless_part_keeps_columns_and_needs():
    both = tried(lambda a, b: (-3.0 + a, -3.0 + b))
    measured = evaluate_singles(both, [[change("a", 2, 1.0, 0.1)], [change("b", 3, 1.0)]], 10)
    options = Options.build(both.outcome(()), measured, keep_all=False)
    kept = options.lossless()
    assert [c.service for c in kept.changes] == ["b"]
    np.testing.assert_allclose(kept.problem.effects, [[0], [2]])
    np.testing.assert_allclose(kept.problem.needs, options.problem.needs)
    assert kept.indices((change("b", 3, 1.0),)) == (0,)
    assert kept.indices((change("a", 2, 1.0, 0.1),)) is None
    assert kept.picked([0])[0].service == "b"
    assert kept.problem.costs == pytest.approx([1.0])
