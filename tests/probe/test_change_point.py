import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.probe.change_point import LEAST_DAYS, likeliest_change


def alike(rng, n, r1):
    """Days with autocorrelation `r1`, without a change."""
    noise = rng.standard_normal(n + 50)
    for i in range(1, n + 50):
        noise[i] += r1 * noise[i - 1]
    return noise[50:]


def test_a_clean_change_is_found_where_it_is():
    values = np.concatenate([np.linspace(9, 10, 20), np.linspace(5, 6, 15)])
    change = likeliest_change(values)
    assert change.index == 20
    assert change.before[1] == pytest.approx(9.5)
    assert change.after[1] == pytest.approx(5.5)
    assert change.before[0] <= change.before[1] <= change.before[2]


def test_the_statistic_is_pettitts_rank_sum_over_all_pairs(rng):
    # the definition of 1979, written out: U_t = sum_{i<=t} sum_{j>t} sign(x_i - x_j)
    values = rng.integers(0, 8, 30).astype(float)
    u = [abs(np.sign(values[:t, None] - values[None, t:]).sum()) for t in range(1, 30)]
    change = likeliest_change(values)
    inner = u[4:25]
    scaled = [value / np.sqrt(t * (30 - t)) for t, value in enumerate(inner, start=5)]
    assert change.index == int(np.argmax(scaled)) + 5
    k, r1 = max(inner), change.r1
    expected = 2 * np.exp(-6 * k**2 / (30**3 + 30**2) * (1 - r1) / (1 + r1))
    assert change.p == pytest.approx(min(expected, 1.0))


@given(st.lists(st.integers(0, 1000), min_size=LEAST_DAYS, max_size=40))
def test_only_the_order_of_values_counts(values):
    a = likeliest_change(np.array(values, dtype=float))
    b = likeliest_change(np.exp(np.array(values, dtype=float) / 100))
    assert (a.index, a.p) == (b.index, b.p)


def test_days_without_any_answer_are_above_all_others():
    change = likeliest_change(np.array([0.05] * 12 + [np.inf] * 12))
    assert change.index == 12
    assert change.after[1] == np.inf
    assert change.p < 0.01


def test_a_constant_series_has_not_changed():
    assert likeliest_change(np.full(30, 5.0)).p == 1.0


def test_too_few_days_are_refused():
    with pytest.raises(InputError, match="at least 16 days, got 15"):
        likeliest_change(np.arange(15.0))


@pytest.mark.slow
@pytest.mark.parametrize("r1", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("n", [20, 60])
def test_false_alarms_stay_at_the_limit_that_is_stated(r1, n):
    rng = np.random.default_rng([7, n, int(10 * r1)])
    n_series = 1500
    alarms = sum(likeliest_change(alike(rng, n, r1)).p < 0.01 for _ in range(n_series))
    # 1 % stated; 5 standard errors of a share of 1 % among 1500 are 1.3 %
    assert alarms / n_series <= 0.01 + 5 * np.sqrt(0.01 * 0.99 / n_series)


@pytest.mark.slow
def test_a_change_worth_knowing_is_found():
    rng = np.random.default_rng(8)
    found = [
        likeliest_change(alike(rng, 40, 0.3) + 3.0 * (np.arange(40) >= 22)) for _ in range(300)
    ]
    assert np.mean([change.p < 0.01 for change in found]) > 0.7
    assert np.median([abs(change.index - 22) for change in found]) <= 1
