"""Data use of a cycle: the ledger adds up, agrees with brute force; taking away never adds."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import InputError
from linkfit.forecast.data_use import (
    CYCLE_SIGMA,
    PROTOCOL_FACTOR,
    RATE_SIGMA,
    RETRANSMISSIONS,
    ROUNDING,
    SECOND_CROSSING,
    SIZE_SIGMA,
    forecast_data,
)
from linkfit.site.background import default_background
from linkfit.site.hours import DayWindow, Hours
from linkfit.site.model import Background, Backlog, Cache, PathLimits, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

VIEW = Task(name="view", flow="out", size=SizeLaw(median_bytes=2e5, spread=1.7), per_user_day=15.0)
ADD = Task(name="add", flow="in", size=SizeLaw(median_bytes=3.5e6, spread=1.6), per_user_day=8.0)
CLIP = Task(name="clip", flow="in", size=SizeLaw(median_bytes=130e6, spread=2.5), per_user_day=0.05)
PHOTOS = Service(name="photos", kind="photo-library", n_users=6, tasks=(VIEW, ADD, CLIP))
HUM = Background(name="hum", bytes_per_day=5e6)
SITE = Site(name="x", services=(PHOTOS,), background=(HUM,), plan=Plan(cap_bytes=12e9))


def use(site, **options):
    return forecast_data(site, seed=5, **options).use.draws


def test_the_ledger_adds_up_to_the_use():
    path = PathLimits(same_link_share_frac=0.4, tunnel_overhead_bytes=60)
    heap = Backlog(name="old", n_items=100, size=SizeLaw(median_bytes=3e6, spread=1.6))
    data = forecast_data(replace(SITE, path=path, backlogs=(heap,)), loss_frac=0.02)
    total = sum(entry.use.draws for entry in data.ledger)
    assert_allclose(total, data.use.draws)
    causes = [entry.cause for entry in data.ledger]
    assert causes == [
        "view", "add", "clip", "backlog: old", SECOND_CROSSING, RETRANSMISSIONS, "hum",
    ]  # fmt: skip
    by_cause = {entry.cause: entry for entry in data.ledger}
    assert by_cause[SECOND_CROSSING].optional
    carried = total - by_cause["hum"].use.draws - by_cause[RETRANSMISSIONS].use.draws
    assert_allclose(by_cause[RETRANSMISSIONS].use.draws, carried * 0.02 / 0.98)


def test_the_mean_is_that_of_the_demand():
    from linkfit.forecast.demand import service_bytes_per_day

    data = forecast_data(SITE, seed=1, n_draws=8000, n_worlds=2000)
    expected = 30 * (PROTOCOL_FACTOR * service_bytes_per_day(SITE, PHOTOS, "both") + 5e6)
    # worlds of a task differ by RATE_SIGMA; the largest task is half of it all
    error = data.use.draws.std() / np.sqrt(2000)
    assert abs(data.use.draws.mean() - expected) < 5 * error


@pytest.mark.slow
def test_quantiles_agree_with_a_simulation_of_every_transfer():
    site = Site(name="x", services=(replace(PHOTOS, n_users=2, tasks=(CLIP, ADD)),))
    ours = use(site, n_draws=6000, n_worlds=3000)
    rng = np.random.default_rng(9)
    from linkfit.forecast.demand import task_crossings

    totals = np.zeros(6000)
    activity = np.exp(CYCLE_SIGMA * rng.standard_normal(6000) - CYCLE_SIGMA**2 / 2)
    protocol = PROTOCOL_FACTOR * np.exp(0.025 * rng.standard_normal(6000))
    for task in (CLIP, ADD):
        rate = np.exp(RATE_SIGMA * rng.standard_normal(6000) - RATE_SIGMA**2 / 2) * activity
        level = np.exp(SIZE_SIGMA * rng.standard_normal(6000) - SIZE_SIGMA**2 / 2)
        numbers = rng.poisson(2 * task.per_user_day * 30 * rate)
        sizes = task.size.median_bytes * np.exp(
            np.log(task.size.spread) * rng.standard_normal(numbers.sum())
        )
        wire = task_crossings(site, site.services[0], task)[0]
        payload = np.bincount(np.repeat(np.arange(6000), numbers), sizes, minlength=6000)
        totals += protocol * (wire.factor("both") * level * payload + 600.0 * numbers)
    levels = [0.05, 0.25, 0.5, 0.75, 0.95]
    assert_allclose(np.quantile(ours, levels), np.quantile(totals, levels), rtol=0.06)


# arithmetic: 60 B each 25 s in 30 days is 6.2 MB, time sync of 4 servers 1.5 MB
def test_background_bytes_of_a_month():
    background = default_background(PathLimits(entry="relay"))
    data = forecast_data(Site(name="x", background=background))
    mean = {entry.cause: entry.use.draws.mean() for entry in data.ledger}
    assert mean["tunnel keepalive"] == pytest.approx(6.2e6, rel=0.03)
    assert mean["time sync"] == pytest.approx(1.5e6, rel=0.04)
    assert mean["name look-ups"] == pytest.approx(45e6, rel=1e-9)  # worlds share out the guess


def test_a_stated_amount_is_the_mean_and_its_median_lies_below():
    (entry,) = forecast_data(Site(name="x", background=(HUM,)), n_worlds=200).ledger
    assert entry.use.draws.mean() == pytest.approx(30 * 5e6)
    # median of a lognormal of mean 1: exp(-sigma^2 / 2)
    low, middle, high = entry.use.quantile([0.05, 0.5, 0.95]) / (30 * 5e6)
    assert middle == pytest.approx(np.exp(-(RATE_SIGMA**2) / 2), rel=0.01)
    # 5 and 95 % points: exp(+-1.645 sigma) around it
    assert_allclose([low, high], middle * np.exp([-1.645 * RATE_SIGMA, 1.645 * RATE_SIGMA]),
                    rtol=0.02)  # fmt: skip


# Arithmetic of the trade: a session above the step is rounded up by half of it in the mean, a
# small one is counted as a whole step (against sessions drawn one by one).
@pytest.mark.parametrize(("session_mb", "step_mb"), [(50.0, 1.0), (0.02, 1.0), (1.0, 1.0)])
def test_sessions_are_counted_in_whole_steps(session_mb, step_mb):
    use_bytes = session_mb * 1e6 * 24
    plan = Plan(round_up_bytes=step_mb * 1e6, sessions_per_day=24.0)
    site = Site(name="x", plan=plan, background=(replace(HUM, bytes_per_day=use_bytes),))
    data = forecast_data(site)
    hum, extra = data.ledger
    assert (extra.cause, extra.asked_for) == (ROUNDING, False)
    rng = np.random.default_rng(4)
    sizes = rng.exponential(session_mb, 400_000)
    expected = (np.ceil(sizes / step_mb) * step_mb - sizes).mean() * 1e6 * 24 * 30
    assert extra.use.draws.mean() == pytest.approx(expected, rel=0.06)
    assert_allclose(hum.use.draws + extra.use.draws, data.use.draws)


def test_what_nobody_asked_for_is_marked():
    upkeep = replace(PHOTOS, name="upkeep", kind="upkeep")
    site = replace(SITE, services=(PHOTOS, upkeep), path=PathLimits(same_link_share_frac=0.3))
    asked = {(e.service, e.cause): e.asked_for for e in forecast_data(site, loss_frac=0.1).ledger}
    assert {key for key, wanted in asked.items() if wanted} == {
        ("photos", "view"), ("photos", "add"), ("photos", "clip"),
    }  # fmt: skip


taken_away = st.sampled_from([
    ("fewer users", lambda s: replace(s, n_users=s.n_users // 2)),
    ("no clips", lambda s: replace(s, tasks=s.tasks[:2])),
    ("smaller photos", lambda s: replace(s, tasks=(s.tasks[0], replace(
        s.tasks[1], size=SizeLaw(median_bytes=1e6, spread=1.6)), s.tasks[2]))),
    ("a cache", lambda s: replace(s, tasks=(replace(s.tasks[0], cache=Cache(
        scope="browser", lifetime_s=604800.0, views_per_object_day=1.0)), *s.tasks[1:]))),
    ("rate limit", lambda s: replace(s, rate_limit_bps=20e3)),
    ("local name", lambda s: replace(s, local_name=True)),
    ("rarer", lambda s: replace(s, tasks=(replace(s.tasks[0], per_user_day=11.0), *s.tasks[1:]))),
])  # fmt: skip


@settings(deadline=None, max_examples=40)
@given(taken_away, st.sampled_from(["both", "up", "down"]), st.floats(0, 1), st.integers(0, 99))
def test_taking_bytes_away_never_adds_use(change, counted, share, seed):
    site = replace(
        SITE, plan=Plan(cap_bytes=12e9, counted=counted),
        path=PathLimits(same_link_share_frac=share),
    )  # fmt: skip
    lighter = replace(site, services=(change[1](PHOTOS),))
    before = forecast_data(site, seed=seed, n_draws=300)
    after = forecast_data(lighter, seed=seed, n_draws=300)
    # draw by draw; only where the number of terms changes the method, in the mean
    if change[0] in ("fewer users", "rarer"):
        assert after.use.draws.mean() <= before.use.draws.mean()
    else:
        assert (after.use.draws <= before.use.draws * (1 + 1e-9)).all()
        assert after.prob_over_cap <= before.prob_over_cap
        assert (after.runs_out.draws >= before.runs_out.draws - 1e-9).all()


def test_a_change_of_one_cause_leaves_the_others_alone():
    fewer = replace(SITE, services=(replace(PHOTOS, tasks=PHOTOS.tasks[:2]),))
    before, after = forecast_data(SITE).ledger, forecast_data(fewer).ledger
    assert_array_equal(before[0].use.draws, after[0].use.draws)
    assert_array_equal(before[1].use.draws, after[1].use.draws)


def test_what_the_plan_counts():
    up, down, both = (use(replace(SITE, plan=Plan(counted=way))) for way in ("up", "down", "both"))
    assert_allclose(up + down, both)
    assert up.mean() < down.mean()


def test_hours_cut_machines_but_not_people():
    half = Hours(windows=(DayWindow(start_h=8, end_h=20),))
    data = forecast_data(replace(SITE, hours=half))
    full = forecast_data(SITE)
    assert_allclose(data.ledger[-1].use.draws, full.ledger[-1].use.draws / 2)
    assert_array_equal(data.ledger[0].use.draws, full.ledger[0].use.draws)
    night = replace(PHOTOS, window=(DayWindow(start_h=22, end_h=4),))
    shut = forecast_data(replace(SITE, hours=half, services=(night,)))
    assert shut.ledger[0].use.draws.max() == 0


def test_backlogs_move_no_more_than_their_limits_let_them():
    heap = Backlog(name="b", n_items=10**6, size=SizeLaw(median_bytes=3.5e6, spread=1.6))
    site = Site(name="x", backlogs=(heap,), plan=Plan(counted="up"))
    bounded = forecast_data(site, mean_rates_bps={"up": 1e6, "down": 1e6})
    assert_allclose(bounded.use.draws, 1e6 * 86400 * 30 / 8, rtol=1e-9)
    slow = replace(site, backlogs=(replace(heap, rate_limit_bps=2e5),))
    assert_allclose(forecast_data(slow).use.draws, 2e5 * 86400 * 30 / 8, rtol=1e-9)
    assert forecast_data(site).use.draws.min() > 3e12


def test_worlds_part_what_is_not_known_from_chance():
    data = forecast_data(SITE, n_draws=2000)
    low, high = data.use.quantile_interval(0.5)
    assert low < float(data.use.quantile(0.5)) < high
    assert np.unique(data.use.world).size == 20


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"loss_frac: expected a number below 1, got 1"):
        forecast_data(SITE, loss_frac=1.0)
