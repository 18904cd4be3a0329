import numpy as np
import pytest

from linkfit.ingest.trace import LatencySamples
from linkfit.link.loss import LossBursts, fit_loss


def make_probes(lost, step_s=0.02, source=None, n_probes=1):
    lost = np.asarray(lost, bool)
    n = lost.size
    return LatencySamples(
        time_s=step_s * np.arange(n), rtt_s=np.where(lost, np.inf, 0.05), spread_s=np.zeros(n),
        n_probes=np.full(n, n_probes), n_lost=lost * n_probes, loaded=np.zeros(n),
        source=np.zeros(n) if source is None else source,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("worsen", "recover", "loss", "burst"),
    # the table of a public project's own test, not of a standard
    [(0.058824, 0.333333, 0.15, 3), (0.022059, 0.125, 0.15, 8),
     (0.142857, 0.333333, 0.30, 3), (0.053571, 0.125, 0.30, 8)],
)  # fmt: skip
def test_steps_of_the_chain_give_loss_and_burst(worsen, recover, loss, burst):
    chain = LossBursts(worsen_prob=worsen, recover_prob=recover)
    assert chain.loss_frac == pytest.approx(loss, rel=1e-4)
    assert chain.mean_burst_probes == pytest.approx(burst, rel=1e-4)


def test_a_chain_is_found_again_within_five_standard_errors(rng):
    n, worsen, recover = 20_000, 0.02, 1 / 3
    draws, lost = rng.random(n), np.zeros(n, bool)
    for i in range(1, n):
        lost[i] = draws[i] >= recover if lost[i - 1] else draws[i] < worsen
    found = fit_loss(make_probes(lost))
    n_bad = lost.sum()
    assert abs(found.worsen_prob - worsen) < 5 * np.sqrt(worsen * (1 - worsen) / (n - n_bad))
    assert abs(found.recover_prob - recover) < 5 * np.sqrt(recover * (1 - recover) / n_bad)


def test_an_outage_is_not_loss_by_chance():
    lost = np.zeros(200, bool)
    lost[100:110] = True  # ten seconds
    assert fit_loss(make_probes(lost, step_s=1.0)).loss_frac == 0
    lost[[20, 50]] = True
    found = fit_loss(make_probes(lost, step_s=1.0))
    # two alone of 190 probes that are not of the outage, in 188 pairs
    assert found.worsen_prob == pytest.approx(2 / 186)


def test_few_losses_are_pulled_towards_independent_ones():
    lost = np.zeros(100, bool)
    lost[40:44] = True  # one burst of four, 1 / 4 by itself
    found = fit_loss(make_probes(lost))
    assert found.recover_prob == pytest.approx((1 + 4 * (1 - 4 / 99)) / 8)


def test_summaries_and_few_or_sparse_probes_tell_nothing():
    lost = np.zeros(100, bool)
    assert fit_loss(make_probes(lost, n_probes=10)) is None
    assert fit_loss(make_probes(lost[:30])) is None
    assert fit_loss(make_probes(lost, step_s=300.0)) is None
    assert fit_loss(make_probes(lost, source=np.arange(100))) is None
    assert fit_loss(LatencySamples()) is None


def gilbert_elliott(n, p, r, loss_good, loss_bad, rng):
    """Losses of a chain whose good state loses some probes and whose bad one not all."""
    draws, steps = rng.random(n), rng.random(n)
    lost, bad = np.zeros(n, bool), False
    for i in range(n):
        bad = steps[i] >= r if bad else steps[i] < p
        lost[i] = draws[i] < (loss_bad if bad else loss_good)
    return lost


def test_a_chain_with_two_losing_states_keeps_its_loss(rng):
    # "gemodel 1% 30% 70% 0.1%" (p, r, 1 - h, 1 - k) loses about 2 %: quoted from a link emulator's
    # manual; E. O. Elliott 1963 (from memory): ((1 - k) r + (1 - h) p) / (p + r)
    p, r, loss_bad, loss_good = 0.01, 0.30, 0.70, 0.001
    expected = (loss_good * r + loss_bad * p) / (p + r)
    assert expected == pytest.approx(0.023548, abs=1e-6)
    n = 60_000
    # a step of 10 ms: a burst of two dozen is no outage
    found = fit_loss(make_probes(gilbert_elliott(n, p, r, loss_good, loss_bad, rng), step_s=0.01))
    # losses come together, so that their number varies as if there were a third as many
    error = np.sqrt(expected * (1 - expected) / (n / 3))
    assert abs(found.loss_frac - expected) < 5 * error
    # in the bad state the next probe is lost with 0.7 x 0.7: bursts of about 1 / (1 - 0.49)
    assert found.mean_burst_probes == pytest.approx(1 / (1 - 0.49), rel=0.1)
