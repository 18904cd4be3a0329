"""Closed users: against exact mean value analysis, which is checked against a textbook first."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.closed import UserClass, simulate_closed
from linkfit.forecast.sharing import FlowClass
from linkfit.link.paths import CapacityPaths

RATE_BPS = 1e6
CONSTANT = CapacityPaths.from_rates(np.full((20, 100), RATE_BPS))


def mva(service_s, visits, n_users, think_s=0.0):
    """Response times, queue lengths and throughput of a closed network of single servers."""
    service_s, visits = np.array(service_s), np.array(visits)
    queue = np.zeros(service_s.size)
    for users in range(1, n_users + 1):
        response = service_s * (1 + queue)
        through = users / (think_s + visits @ response)
        queue = through * visits * response
    return response, queue, through


def test_the_oracle_agrees_with_jain_page_577():
    """Jain, The Art of Computer Systems Performance Analysis, p. 577, as tested elsewhere."""
    response, queue, _ = mva([0.125, 0.3, 0.2], [16, 10, 5], 20, think_s=4.0)
    assert_allclose(response, [0.373, 4.854, 0.300], atol=1e-3)
    assert_allclose(queue, [1.991, 16.177, 0.500], atol=1e-3)


def test_the_oracle_agrees_with_bolch_example_8_3():
    """Bolch et al., Queueing Networks and Markov Chains, p. 331, as tested elsewhere."""
    response, queue, through = mva([0.02, 0.2, 0.4, 0.6], [1, 0.4, 0.2, 0.1], 6)
    assert_allclose(response, [0.025, 0.570, 1.140, 1.244], atol=1e-3)
    assert_allclose(queue, [0.244, 2.261, 2.261, 1.234], atol=1e-3)
    assert through == pytest.approx(9.920, abs=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("spread", [1.0, 2.0])
@pytest.mark.parametrize("n_users", [1, 4, 12])
def test_one_shared_link_with_thinking_users_is_mean_value_analysis(n_users, spread):
    """Processor sharing is insensitive: only the mean size counts."""
    median = 5e5 / np.exp(np.log(spread) ** 2 / 2)
    users = UserClass(name="a", n_users=n_users, think_s=3.0, median_bits=median, spread=spread)
    means = []
    for batch in range(8):
        rng = np.random.default_rng([n_users, batch])
        means.append(simulate_closed(CONSTANT, [users], rng=rng, n_jobs=4000).time_s.mean())
    error = np.std(means, ddof=1) / np.sqrt(len(means))
    expected = mva([0.5], [1], n_users, think_s=3.0)[0][0]
    assert abs(np.mean(means) - expected) < 5 * error + 1e-9
    assert error < 0.03 * expected


# M/M/1//N, the machine repair model: p_n is as N! / (N - n)! (lambda / mu)^n; for N = 5, lambda
# 0.1, mu 1 that is L = 0.639522 and a throughput of 0.436048 (textbook formula, value from memory)
@pytest.mark.slow
def test_time_in_the_system_is_that_of_machine_repair():
    weights = np.cumprod([1.0, *(0.1 * (5 - n) for n in range(5))])
    p = weights / weights.sum()
    mean_present, through = p @ np.arange(6), 1 - p[0]
    assert_allclose([p[0], mean_present, through], [0.563952, 0.639522, 0.436048], atol=1e-6)
    users = UserClass(name="a", n_users=5, think_s=10.0, median_bits=1e6)
    means = [
        simulate_closed(
            CONSTANT, [users], rng=np.random.default_rng([5, batch]), n_jobs=4000
        ).time_s.mean()
        for batch in range(8)
    ]  # fmt: skip
    error = np.std(means, ddof=1) / np.sqrt(8)
    assert abs(np.mean(means) - mean_present / through) < 3 * error


# mixed BCMP network: users meet a server slowed by what the open class takes, S / (1 - rho);
# the open class has (1 + users under way) times its own share (Baskett et al. 1975, from memory)
@pytest.mark.slow
@pytest.mark.parametrize("rho", [0.3, 0.6])
def test_users_among_open_arrivals_are_a_mixed_network(rho):
    users = UserClass(name="a", n_users=3, think_s=3.0, median_bits=5e5)
    flow = FlowClass(name="b", arrivals_per_s=rho * RATE_BPS / 2e5, median_bits=2e5)
    closed, opened = [], []
    for batch in range(10):
        result = simulate_closed(
            CONSTANT, [users], others=[flow], rng=np.random.default_rng([7, batch]), n_jobs=10_000
        )
        closed.append(result.of_class(0).time_s.mean())
        opened.append(result.of_class(1).time_s.mean())
    response, queue, _ = mva([0.5 / (1 - rho)], [1], 3, think_s=3.0)
    for found, expected in ((closed, response[0]), (opened, 0.2 * (1 + queue[0]) / (1 - rho))):
        error = np.std(found, ddof=1) / np.sqrt(len(found))
        assert abs(np.mean(found) - expected) < 3 * error
        assert error < 0.03 * expected


def test_one_user_is_always_alone_on_a_link_with_outages():
    paths = CapacityPaths.from_rates([1e6, 0.0, 2e6, 0.5e6])
    user = UserClass(name="a", n_users=1, think_s=2.0, median_bits=8e5, spread=1.5)
    result = simulate_closed(paths, [user], rng=np.random.default_rng(1), n_jobs=300)
    assert_allclose(result.time_s, result.alone_s, rtol=1e-6, atol=1e-6)
    assert result.bits.size == 300


def test_more_users_wait_longer_and_classes_are_told_apart():
    def mean_s(n_users):
        classes = [
            UserClass(name="a", n_users=n_users, think_s=1.0, median_bits=2e5),
            UserClass(name="b", n_users=1, think_s=5.0, median_bits=1e6),
        ]
        result = simulate_closed(CONSTANT, classes, rng=np.random.default_rng(3), n_jobs=2000)
        assert_allclose(result.of_class(1).bits, 1e6)
        return result.of_class(1).time_s.mean()

    assert mean_s(1) < mean_s(5) < mean_s(20)


def test_users_who_are_many_do_not_exceed_the_link():
    users = UserClass(name="a", n_users=50, think_s=0.1, median_bits=1e5)
    one = CapacityPaths.from_rates(np.full(10, RATE_BPS))
    result = simulate_closed(one, [users], rng=np.random.default_rng(3), n_jobs=2000)
    ends = result.start_s + result.time_s
    carried_bps = result.bits.sum() / (ends.max() - ends.min())
    assert carried_bps == pytest.approx(RATE_BPS, rel=0.02)


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"classes: expected at least one user, got 0"):
        simulate_closed(CONSTANT, [], rng=np.random.default_rng(1))
    user = UserClass(name="a", n_users=1, think_s=2.0, median_bits=8e5)
    with pytest.raises(InputError, match=r"paths: expected a row that carries something, got none"):
        simulate_closed(CapacityPaths.from_rates([0.0]), [user], rng=np.random.default_rng(1))
    with pytest.raises(InputError, match=r"think_s: .* got 0"):
        UserClass(name="a", n_users=1, think_s=0.0, median_bits=8e5)
