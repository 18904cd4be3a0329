"""All answers about a cycle agree with each other."""

from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.data_answer import answer_data, with_slowed
from linkfit.forecast.used_so_far import CyclePlace
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.hours import Hours, Power
from linkfit.site.model import Background, PathLimits, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

ADD = Task(name="add", flow="in", size=SizeLaw(median_bytes=3.5e6, spread=1.6), per_user_day=25.0,
           target_s=60.0)  # fmt: skip
FINDS = Service(name="finds", kind="photo-library", n_users=8, tasks=(ADD,))
FEED = Background(name="feed", bytes_per_day=90e6)
SITE = Site(name="x", services=(FINDS,), background=(FEED,), plan=Plan(cap_bytes=30e9, cycle_day=5),
            path=PathLimits(same_link_share_frac=0.2))  # fmt: skip
PLACE = CyclePlace.at(datetime(2026, 6, 14, 12), 5)


def test_the_parts_agree():
    answer = answer_data(SITE, task="finds/add")
    assert answer.chance.prob_over == answer.data.prob_over_cap
    assert answer.chance_gib.cap_bytes == pytest.approx(30 * 2**30)
    assert answer.chance_gib.prob_over <= answer.chance.prob_over
    assert answer.often.now_per_day == 200.0
    assert answer.data.cycle_days == 30.0
    assert answer.unasked.draws.max() < answer.data.use.draws.max()


def test_measured_use_moves_everything_on_the_screen():
    before = answer_data(SITE, place=PLACE)
    after = answer_data(SITE, place=PLACE, used_bytes=20e9)
    assert float(after.data.use.quantile(0.5)) > float(before.data.use.quantile(0.5))
    assert after.sizes.exact_bytes > before.sizes.exact_bytes
    feed = next(e for e in after.data.ledger if e.cause == "feed")
    saving = next(s for s in after.savings if s.name == "feed")
    assert_allclose(saving.saved.draws, feed.use.draws, rtol=1e-6)
    assert after.data.cycle_days == 30.0, "June 5 to July 5"


def test_use_that_the_link_cannot_have_carried_is_refused():
    slow = {"up": 5e4, "down": 5e4}
    with pytest.raises(InputError, match=r"--used: expected at most .* twice what the link"):
        answer_data(SITE, place=PLACE, used_bytes=29e9, mean_rates_bps=slow)
    # the direction that counts was not measured: nothing can be said against it
    answer_data(SITE, place=PLACE, used_bytes=29e9, mean_rates_bps={"up": 1e5})


def test_a_plan_without_a_cap_has_no_chance():
    answer = answer_data(replace(SITE, plan=Plan()))
    assert (answer.chance, answer.chance_gib, answer.data.runs_out) == (None, None, None)


def test_rates_after_the_cap_in_the_order_asked():
    link = fit_link(Trace.from_quick_numbers(up_bps=8e6, down_bps=20e6, rtt_s=0.05))
    answer = with_slowed(answer_data(SITE), link, [1e5, 5e6])
    slow, fast = answer.slowed
    assert (slow.rate_bps, fast.rate_bps) == (1e5, 5e6)
    # 4 MB at 100 kbit/s take five minutes at best
    assert (slow.services[0].works_alone, fast.services[0].works_alone) == (False, True)


def test_the_same_seed_gives_the_same_draws():
    one, two = (answer_data(SITE, place=PLACE, used_bytes=9e9, seed=4) for _ in range(2))
    assert np.array_equal(one.data.use.draws, two.data.use.draws)
    assert np.array_equal(one.data.runs_out.draws, two.data.runs_out.draws)


@settings(deadline=None, max_examples=10)
@given(
    n_users=st.integers(0, 40),
    per_user_day=st.floats(0, 60),
    share=st.floats(0, 1),
    counted=st.sampled_from(["both", "up", "down"]),
    cap_gb=st.floats(1, 100),
    carry_gb=st.floats(0, 20),
    round_mb=st.one_of(st.none(), st.floats(0.01, 50)),
    seed=st.integers(0, 9),
)
def test_doubling_the_cap_of_any_site_never_makes_an_overrun_likelier(
    n_users, per_user_day, share, counted, cap_gb, carry_gb, round_mb, seed
):
    plan = Plan(cap_bytes=cap_gb * 1e9, counted=counted, carry_over_bytes=carry_gb * 1e9,
                round_up_bytes=round_mb and round_mb * 1e6)  # fmt: skip
    finds = replace(FINDS, n_users=n_users, tasks=(replace(ADD, per_user_day=per_user_day),))
    site = replace(SITE, services=(finds,), plan=plan, path=PathLimits(same_link_share_frac=share))
    double = replace(site, plan=replace(plan, cap_bytes=2 * plan.cap_bytes))
    before, after = (answer_data(one, seed=seed) for one in (site, double))
    assert after.chance.prob_over <= before.chance.prob_over
    assert after.chance_gib.prob_over <= before.chance_gib.prob_over
    assert (after.data.runs_out.draws >= before.data.runs_out.draws).all()
    # which plan lasts does not depend on the plan that is there
    assert after.sizes.exact_bytes == before.sizes.exact_bytes


def test_a_date_has_the_sun_of_its_cycle():
    """Background runs while the server is up: 2 h of January against 12 h of June."""
    sun = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0)
    power = Power(battery_wh=0, load_w=30, panel_w=100, sun_hours=3.5, sun_hours_by_month=sun)
    feed = Background(name="feed", bytes_per_day=90e6)
    site = Site(name="hut", hours=Hours(power=power), background=(feed,))
    uses = []
    for month, days in ((1, 31), (6, 30)):
        place = CyclePlace.at(datetime(2026, month, 14), 1)
        uses.append(float(answer_data(site, place=place).data.use.draws.mean()) / days)
    assert uses == pytest.approx([90e6 * 2 / 24, 90e6 * 12 / 24], rel=0.03)
    june = answer_data(site, start=date(2026, 6, 1)).data.use.draws.mean() / 30
    assert june == pytest.approx(uses[1], rel=0.03)
