"""Which differences of two reports are real, and what else moved."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.report.page.answer_changes import (
    moved_settings,
    moved_verdicts,
    number_changes,
    other_hours,
)
from linkfit.report.page.answers import Answers, ToldNumber, ToldRecord, ToldService

DAYTIME = tuple(1 / 12 if 6 <= h < 18 else 0.0 for h in range(24))
NIGHT = tuple(0.0 if 6 <= h < 18 else 1 / 12 for h in range(24))


def told(worlds, *, kind="data", name="data", value=None, unit="bytes"):
    worlds = tuple(worlds)
    middle = float(np.median([np.inf if w is None else w for w in worlds]))
    middle = None if np.isinf(middle) else middle
    return ToldNumber(kind=kind, name=name, what="median", unit=unit,
                      value=middle if value is None else value, low=None, high=None,
                      worlds=worlds)  # fmt: skip


def answers(*numbers, services=(), settings=None, hours=(), version="1"):
    return Answers(
        version=version,
        seed=0,
        site="camp",
        link_sha256="0",
        services=tuple(ToldService(name=n, verdict=v, slowest=f"{n}: t", in_time_prob=None,
                                   low_prob=None,
                                   high_prob=None) for n, v in services),
        numbers=numbers,
        records=(ToldRecord(direction="up", first_day=None, last_day=None, n_tests=1,
                            hour_fracs=hours, hours_sigma=0.2),),
        settings=settings or {},
    )  # fmt: skip


def only(changes):
    assert len(changes) == 1
    return changes[0]


def test_far_apart_is_real_and_near_is_not():
    near = np.linspace(90, 110, 20)
    found = only(number_changes(answers(told(near)), answers(told(near + 5))))
    assert not found.difference.real
    assert found.difference.low < 0 < found.difference.high
    found = only(number_changes(answers(told(near)), answers(told(near + 50))))
    assert found.difference.real
    assert found.difference.value == pytest.approx(50)
    assert found.difference.low > 0


def test_the_same_is_the_same():
    found = only(number_changes(answers(told([1.0, 2.0])), answers(told([1.0, 2.0]))))
    assert found.is_same
    assert not found.difference.real


def test_never_is_more_than_any_time():
    ends = told(np.linspace(4, 6, 20), kind="backlog", unit="days")
    never = told([None] * 20, kind="backlog", unit="days")
    found = only(number_changes(answers(ends), answers(never))).difference
    assert found.real
    assert found.value == np.inf
    back = only(number_changes(answers(never), answers(ends))).difference
    assert back.real
    assert back.value == -np.inf
    assert not only(number_changes(answers(never), answers(never))).difference.real


@given(st.integers(0, 2**32 - 1), st.floats(0.01, 1.0))
def test_turned_round_it_is_the_opposite(seed, sigma):
    rng = np.random.default_rng(seed)
    a, b = (told(np.exp(sigma * rng.standard_normal(20)).tolist()) for _ in range(2))
    there = only(number_changes(answers(a), answers(b))).difference
    back = only(number_changes(answers(b), answers(a))).difference
    assert there.real == back.real
    assert there.value == pytest.approx(-back.value)


def test_a_dozen_numbers_of_few_draws_each_can_show_a_real_change():
    """Ten draws a number, as tasks have: pairs alone could not show less than 2 %."""
    draws = np.exp(0.1 * np.linspace(-1, 1, 10))
    names = [f"s{n}: t" for n in range(12)]
    services = [(f"s{n}", "fits") for n in range(12)]
    before = [told(3 * draws, kind="task", name=name, unit="s") for name in names]
    after = [told(3 * draws * (10 if name == "s5: t" else 1.01), kind="task", name=name, unit="s")
             for name in names]  # fmt: skip
    changes = number_changes(
        answers(*before, services=services), answers(*after, services=services)
    )
    assert [one.now.name for one in changes if one.difference.real] == ["s5: t"]


@pytest.mark.slow
@pytest.mark.parametrize("n_numbers", [1, 7])
def test_reports_of_the_same_truth_seldom_differ(n_numbers):
    """Draws scatter as the values do: 5 % of tables with any false alarm are meant."""
    rng = np.random.default_rng(1)
    n_alarms = 0
    for _ in range(400):
        reports = []
        for _ in range(2):  # independent looks at one truth
            centres = rng.normal(0, 0.3, n_numbers)
            draws = np.exp(centres[:, None] + 0.3 * rng.standard_normal((n_numbers, 10)))
            values = np.exp(centres).tolist()
            reports.append(answers(*(
                told(draws[n].tolist(), name=str(n), value=values[n]) for n in range(n_numbers)
            )))  # fmt: skip
        n_alarms += any(change.difference.real for change in number_changes(*reports))
    # 5 % of 400 are 20 with a standard error of 4.4
    assert 5 <= n_alarms <= 20 + 3 * 4.4


def test_other_hours_of_the_day_widen_the_ratio():
    rate = np.linspace(4.5, 5.5, 20)
    numbers = [told(x, kind="link", name="up", unit="bit/s") for x in (rate, rate * 1.3)]
    like = number_changes(answers(numbers[0], hours=DAYTIME), answers(numbers[1], hours=DAYTIME))
    other = number_changes(answers(numbers[0], hours=DAYTIME), answers(numbers[1], hours=NIGHT))
    assert only(like).difference.real
    assert not only(other).difference.real
    assert other_hours(answers(hours=DAYTIME), answers(hours=NIGHT)) == {
        "up": pytest.approx(0.2 * 2**0.5)
    }
    assert not other_hours(answers(hours=()), answers(hours=NIGHT))


def test_verdicts_that_moved_came_or_went():
    before = answers(services=[("a", "fits"), ("b", "fits"), ("gone", "fits")])
    after = answers(services=[("a", "fits"), ("b", "does not fit"), ("new", "fits")])
    found = [(one.name, one.earlier, one.now) for one in moved_verdicts(before, after)]
    assert found == [
        ("b", "fits", "does not fit"),
        ("new", "not asked for", "fits"),
        ("gone", "fits", "not asked for"),
    ]


def test_spaces_make_no_other_setting():
    before = answers(settings={"plan.cap": "60 GB", "a.users": "3", "x": "1"})
    after = answers(settings={"plan.cap": "60GB", "a.users": "4"})
    found = [(one.name, one.earlier, one.now) for one in moved_settings(before, after)]
    assert found == [("a.users", "3", "4"), ("x", "1", "not set")]


def test_of_tasks_those_are_set_beside_each_other_that_were_slowest_in_either():
    numbers = [told([1.0, 2.0], kind="task", name=f"{n}: t", unit="s") for n in "abc"]
    before = answers(*numbers, services=[("a", "fits")])
    after = answers(*numbers, services=[("b", "fits")])
    assert [one.now.name for one in number_changes(before, after)] == ["a: t", "b: t"]


def test_a_number_of_one_report_alone_is_left_out():
    assert not number_changes(answers(told([1.0], name="a")), answers(told([1.0], name="b")))
