"""Interactive work of a site in short: what it looks at; it agrees with the long answer."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from linkfit.forecast.interactive_forecast import NO_LIMIT, forecast_interactive
from linkfit.forecast.interactive_short import (
    NOTHING_ELSE,
    interactive_short,
    site_activities,
)
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.file import parse_site

SERVICES = {
    "remote-shell": ("key echo",),
    "calls": ("voice call", "video call"),
    "web-site": ("page load",),
    "web-app": ("page load",),
}


def site(*kinds):
    tables = [f'[[service]]\nname = "{kind}"\nkind = "{kind}"\nusers = 2\n' for kind in kinds]
    return parse_site('[site]\nname = "hut"\n' + "".join(tables))


@pytest.fixture(scope="module")
def link():
    rng = np.random.default_rng(3)
    parts = [
        Trace.from_rates(
            6e6 * np.exp(0.3 * rng.standard_normal(60)), step_s=1.0, direction="up",
            start=datetime(2026, 6, 1, 12, tzinfo=UTC) + timedelta(days=day),
        )
        for day in range(4)
    ]  # fmt: skip
    return fit_link(Trace.merge(parts), seed=0)


@pytest.mark.parametrize("kind", SERVICES)
def test_each_kind_has_its_own_activities_in_three_situations(link, kind):
    found = interactive_short(link, site(kind), n_draws=20)
    assert tuple(dict.fromkeys(cell.activity for cell in found.cells)) == SERVICES[kind]
    situations = list(dict.fromkeys(cell.situation for cell in found.cells))
    assert situations[:2] == [NOTHING_ELSE, NO_LIMIT]
    assert situations[2].startswith("a backup runs at ")
    assert len(found.cells) == 3 * len(SERVICES[kind])


def test_a_site_without_any_has_no_answer(link):
    assert interactive_short(link, site("photo-library", "backup")) is None
    assert site_activities(site("chat")) == ()


def test_a_link_that_was_measured_downwards_alone_has_none():
    down = fit_link(Trace.from_rates(np.full(60, 6e6), step_s=1.0, direction="down"), seed=0)
    assert interactive_short(down, site("remote-shell")) is None


def test_what_waits_behind_a_backup_is_later_than_on_the_idle_link(link):
    found = interactive_short(link, site("remote-shell", "web-app"), n_draws=20)
    for activity in ("key echo", "page load"):
        idle, full, _ = (c for c in found.cells if c.activity == activity)
        assert float(idle.time.quantile(0.5)) < float(full.time.quantile(0.5))
        assert idle.share.value > full.share.value


def test_pages_alone_take_the_limit_of_common_practice(link):
    found = interactive_short(link, site("web-app"), n_draws=20)
    assert not found.limits
    # 85 % of the rate exceeded nine seconds in ten: about 6 x exp(-0.3 x 1.28) x 0.85
    assert found.limit_bps == pytest.approx(0.85 * 6e6 * np.exp(-0.384), rel=0.15)


def test_the_same_seed_gives_the_same(link):
    one, other = (interactive_short(link, site("remote-shell"), seed=5, n_draws=20)
                  for _ in range(2))  # fmt: skip
    for a, b in zip(one.cells, other.cells, strict=True):
        np.testing.assert_array_equal(a.time.draws, b.time.draws)
    assert one.limit_bps == other.limit_bps


@pytest.mark.slow
def test_it_agrees_with_the_long_answer(link):
    asked = site("remote-shell", "calls", "web-app")
    short = interactive_short(link, asked)
    long = forecast_interactive(link, site=asked)
    whole = {(c.activity, c.situation): c for c in long.cells}
    for cell in short.cells:
        if cell.situation in (NOTHING_ELSE, NO_LIMIT):
            other = whole[cell.activity, cell.situation]
            assert cell.share.value == pytest.approx(other.share.value, abs=0.06)
            # behind a backup the queue, which nobody measured, differs by a factor of 2.5
            rel = 0.25 if cell.situation == NO_LIMIT else 0.1
            assert cell.time.quantile(0.5) == pytest.approx(other.time.quantile(0.5), rel=rel)
    for one, other in zip(short.limits, long.limits, strict=False):
        assert one.limit.value == pytest.approx(other.limit.value, rel=0.15)
