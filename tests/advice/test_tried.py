"""Tried: each set once, the best of some, and the front against its definition."""

import itertools
from dataclasses import dataclass

from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.advice.change import Change, Cost
from linkfit.advice.edits import Edit
from linkfit.advice.measures import Measure
from linkfit.advice.tried import Tried
from linkfit.site.model import Service, Site, SizeLaw, Task


def site(n):
    task = Task(name="t", flow="out", size=SizeLaw(median_bytes=1e6))
    return Site(name="hut", services=tuple(
        Service(name=f"s{i}", kind="own", n_users=1, tasks=(task,)) for i in range(n)
    ))  # fmt: skip


def change(i, points, loss=0.0):
    return Change(
        what="w", service=f"s{i}", setting=f"s{i}", before_text="1", after_text="2",
        cost_text="c", cost=Cost(quality_loss_frac=loss, effort_h=points),
        edits=(Edit(editor="task", service=f"s{i}", task="t", field="n_parallel", value=2),),
    )  # fmt: skip


@dataclass
class Judged:
    """Margins from the number of streams of each service; counts what it is asked."""

    gains: list
    n_calls: int = 0

    def evaluate(self, changed):
        self.n_calls += 1
        return [service.tasks[0].n_parallel - 1 for service in changed.services]

    def judge(self, on):
        margins = [sum(g * x for g, x in zip(row, on, strict=True)) - 1 for row in self.gains]
        return tuple(
            Measure(key=str(i), text="", service="", unit="s", value=1, target_value=1, margin=m)
            for i, m in enumerate(margins)
        )


problems = st.tuples(
    st.lists(st.lists(st.integers(0, 2), min_size=4, max_size=4), min_size=1, max_size=3),
    st.lists(st.integers(0, 4), min_size=4, max_size=4),
)


@settings(max_examples=60, deadline=None)
@given(problems)
def test_no_evaluated_set_beats_one_of_the_front(problem):
    gains, points = problem
    judged = Judged(gains)
    tried = Tried(site(4), judged.evaluate, judged.judge, 100)
    changes = [change(i, p) for i, p in enumerate(points)]
    sets = [c for n in range(5) for c in itertools.combinations(changes, n)]
    outcomes = [tried.outcome(chosen) for chosen in sets]
    assert judged.n_calls == len(sets) == 16
    front = tried.front()
    pairs = [(o.cost, o.n_met) for o in front]
    assert pairs == sorted(set(pairs))
    assert [n for _, n in pairs] == sorted({n for _, n in pairs})
    for other in outcomes:  # met by one of the front for no more
        assert any(cost <= other.cost and n >= other.n_met for cost, n in pairs)


def test_a_set_is_evaluated_once_and_confirming_replaces_it():
    judged = Judged([[1, 0]])
    tried = Tried(site(2), judged.evaluate, judged.judge, 5)
    one = tried.outcome((change(0, 1.0),))
    assert tried.outcome((change(0, 1.0),)) is one
    assert judged.n_calls == 1
    assert tried.n_left == 4
    tried.confirm(one, lambda _: [0, 0])  # the exact evaluation disagrees
    assert tried.is_confirmed(one)
    assert not tried.outcome((change(0, 1.0),)).feasible
    tried.allow(7)
    assert tried.n_left == 7


def test_the_best_among_sets_that_take_no_quality():
    judged = Judged([[1, 1]])
    tried = Tried(site(2), judged.evaluate, judged.judge, 5)
    for chosen in ((), (change(0, 1.0, loss=0.1),), (change(1, 5.0),)):
        tried.outcome(chosen)
    assert tried.best().changes[0].service == "s0"
    assert tried.best(lambda o: not o.loses_quality).changes[0].service == "s1"


def test_of_sets_as_close_the_one_that_meets_more_is_best():
    """The cheaper one misses by what no reader sees, but it misses."""
    judged = Judged([[0.995, 1.0], [0.4, 0.4]])
    tried = Tried(site(2), judged.evaluate, judged.judge, 5)
    for chosen in ((), (change(0, 1.0),), (change(1, 5.0),)):
        tried.outcome(chosen)
    assert tried.best().changes[0].service == "s1"


@settings(max_examples=60, deadline=None)
@given(problems)
def test_no_evaluated_set_meets_more_than_the_closest_for_as_little(problem):
    gains, points = problem
    judged = Judged([[x - 1 for x in row] for row in gains])  # a change may harm a target
    tried = Tried(site(4), judged.evaluate, judged.judge, 100)
    changes = [change(i, p) for i, p in enumerate(points)]
    for n in range(4):  # all but the set of all
        for chosen in itertools.combinations(changes, n):
            tried.outcome(chosen)
    best, as_it_is = tried.best(), tried.outcome(())
    assert best.shortfall <= as_it_is.shortfall
    if not best.feasible:
        for other in tried.outcomes.values():
            beats = other.n_met > best.n_met and other.cost <= best.cost
            assert not beats or other.shortfall > as_it_is.shortfall


def test_the_closest_gives_way_to_a_cheaper_set_that_meets_more():
    judged = Judged([[1, 0], [0, 0.9], [0, 0.9]])
    tried = Tried(site(2), judged.evaluate, judged.judge, 5)
    cheap, near = change(0, 1.0), change(1, 5.0)
    tried.outcome(())
    met, nearer = tried.outcome((cheap,)), tried.outcome((near,))
    assert (met.n_met, nearer.n_met) == (1, 0)
    assert nearer.shortfall < met.shortfall < tried.outcome(()).shortfall
    assert tried.best() is met
