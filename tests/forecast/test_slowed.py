"""After the cap: every service again at the rate to which the carrier slows."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.forecast.evaluation import Evaluator
from linkfit.forecast.slowed import slowed
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.model import Service, Site, SizeLaw, Task

CHAT = Service(name="chat", kind="chat", n_users=3, tasks=(
    Task(name="message", flow="out", size=SizeLaw(median_bytes=2e3), per_user_day=80.0,
         target_s=1.0),))  # fmt: skip
CLIPS = Service(name="clips", kind="photo-library", n_users=20, tasks=(
    Task(name="clip", flow="out", size=SizeLaw(median_bytes=20e6), per_user_day=40.0,
         target_s=60.0),))  # fmt: skip
SITE = Site(name="hut", services=(CHAT, CLIPS))


@pytest.fixture(scope="module")
def evaluator():
    return Evaluator(fit_link(Trace.from_quick_numbers(up_bps=8e6, rtt_s=0.05)), n_probes=50)


def by_name(found):
    return {s.service.name: s for s in found.services}


# 20 MB need 160 Mbit: at 128 kbit/s 20 min, at best
def test_a_message_works_alone_where_a_clip_does_not(evaluator):
    found = by_name(slowed(SITE, evaluator, 128e3))
    assert found["chat"].works_alone
    assert not found["clips"].works_alone
    assert not found["chat"].works_together, "clips fill the link ten times over"
    clip = found["clips"].alone[0]
    assert clip.time.quantile(0.05) > 160e6 / 128e3


def test_a_rate_above_the_link_changes_nothing(evaluator):
    fast, faster = (slowed(SITE, evaluator, rate) for rate in (1e9, 1e10))
    assert (fast.services[1].alone[0].time.draws == faster.services[1].alone[0].time.draws).all()


@settings(deadline=None, max_examples=8)
@given(st.floats(2e5, 4e6))
def test_more_rate_never_makes_a_lone_service_worse(evaluator, rate_bps):
    light = replace(SITE, services=(CHAT,))
    slow, fast = (by_name(slowed(light, evaluator, r))["chat"] for r in (rate_bps, 2 * rate_bps))
    less, more = (s.alone[0].prob_within_target for s in (slow, fast))
    assert more >= less - 1e-9
    assert not slow.works_alone or fast.works_alone


def test_what_was_never_measured_is_unknown(evaluator):
    receives = Service(name="inbox", kind="photo-library", n_users=1, tasks=(
        Task(name="add", flow="in", size=SizeLaw(median_bytes=1e6), target_s=9.0),))  # fmt: skip
    (found,) = slowed(replace(SITE, services=(receives,)), evaluator, 128e3).services
    assert (found.works_alone, found.works_together) == (None, None)


def test_bad_rates_are_refused(evaluator):
    with pytest.raises(InputError, match=r"slowed_to: expected a finite number > 0, got 0"):
        slowed(SITE, evaluator, 0)
