"""Pieces and numbers at once of a site's uploads: the same that `linkfit uploads` says."""

from dataclasses import replace

import numpy as np
import pytest

from linkfit.advice.link_rates import link_rates
from linkfit.advice.upload_settings import LinkUploads, large_bytes
from linkfit.forecast.upload_ask import UploadAsk, site_limits
from linkfit.forecast.uploads import forecast_uploads
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.model import Backlog, PathLimits, Site, SizeLaw, Task

SITE = Site(
    name="hut",
    path=PathLimits(
        entry="relay", relay_rtt_s=0.02, body_limit_bytes=50e6, idle_timeout_s=60.0,
        same_link_share_frac=0.4,
    ),
)  # fmt: skip
FILMS = Backlog(name="films", n_items=30, size=SizeLaw(median_bytes=8e7, spread=2.0))
CLIP = Task(name="add a clip", flow="in", size=SizeLaw(median_bytes=1.3e8), remote_rate_bps=8e6)


@pytest.fixture(scope="module")
def link():
    rng = np.random.default_rng(5)
    return fit_link(
        Trace.merge(
            [
                Trace.from_rates(rate * np.exp(0.4 * rng.standard_normal(900)), direction=way)
                for rate, way in ((6e6, "up"), (24e6, "down"))
            ]
        )
    )


@pytest.mark.parametrize(("holder", "flow"), [(FILMS, "out"), (replace(FILMS, flow="in"), "in"),
                                              (CLIP, "in")])  # fmt: skip
def test_they_are_those_of_the_command_uploads(link, holder, flow):
    settings = LinkUploads(link, seed=3)
    told = {"remote_rate_bps": CLIP.remote_rate_bps} if holder is CLIP else {}
    ask = UploadAsk(
        size_bytes=large_bytes(holder), flow=flow, per_item_s=holder.per_item_s, **told,
        **site_limits(SITE, flow),
    )  # fmt: skip
    few = {"n_draws": 20}  # long paths are drawn for times alone
    assert settings.chunk(SITE, holder) == forecast_uploads(link, ask, seed=3, **few).chunk
    usual = replace(ask, size_bytes=holder.size.median_bytes, chunk_bytes=5e6)
    in_pieces = replace(holder, chunk_bytes=5e6)
    expected = forecast_uploads(link, usual, seed=3, **few).lane_advice
    assert settings.lanes(SITE, in_pieces).n_lanes == expected.n_lanes


def test_futures_are_drawn_once_for_all_uploads_of_a_direction(link, monkeypatch):
    drawn = []

    def paths(self, direction, **options):
        drawn.append(direction)
        return original(self, direction, **options)

    original = type(link).paths
    monkeypatch.setattr(type(link), "paths", paths)
    settings = LinkUploads(link)
    for holder in (FILMS, replace(FILMS, name="more"), CLIP):
        settings.chunk(SITE, holder)
        settings.lanes(SITE, holder)
    assert sorted(drawn) == ["down", "up"]


def test_what_the_server_opens_itself_knows_no_relay(link):
    """A connection of the server's own is not held by the body limit of the site's entry."""
    settings = LinkUploads(link)
    far = replace(SITE, path=replace(SITE.path, idle_timeout_s=3600.0))
    assert settings.chunk(far, replace(CLIP, remote_rate_bps=None)).bound == "body limit"
    own = replace(CLIP, through_entry=False, remote_rate_bps=None)
    assert settings.chunk(far, own).bound == "item"


def test_a_direction_never_measured_has_no_settings():
    up_only = fit_link(Trace.from_rates(np.full(60, 5e6), direction="up"))
    settings = link_rates(up_only).uploads
    assert settings.chunk(SITE, CLIP) is None
    assert settings.lanes(SITE, CLIP) is None
    assert settings.chunk(SITE, FILMS) is not None


def test_large_items_are_those_that_nine_of_ten_stay_below():
    law = SizeLaw(median_bytes=1e6, spread=2.0)
    sizes = 1e6 * 2.0 ** np.random.default_rng(1).standard_normal(20000)
    share = np.mean(sizes <= large_bytes(replace(FILMS, size=law)))
    assert share == pytest.approx(0.9, abs=0.01)  # five standard errors of 0.0021
