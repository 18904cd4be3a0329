"""Levels of pictures, video and caches against published ladders and the hit formula."""

import pytest

from linkfit.advice.payload_changes import payload_changes
from linkfit.site.model import Cache, Image, Service, Site, SizeLaw, Task


def site_with(task, kind="web-app", n_users=4):
    service = Service(name="lab", kind=kind, n_users=n_users, tasks=(task,))
    return Site(name="Kestrel Ridge", services=(service,))


def levels(site, what):
    return [c.after_text for c in payload_changes(site) if what in c.what]


@pytest.mark.parametrize(
    ("edge_px", "expected"),
    [
        (4000, ["2560 px", "2048 px", "1440 px", "1080 px", "720 px"]),
        (1440, ["1080 px", "720 px"]),
        (720, []),
        (500, []),
    ],
)
def test_photos_shrink_level_by_level_and_not_below_720_px(edge_px, expected):
    task = Task(name="view", flow="out", size=SizeLaw(median_bytes=4e5),
                image=Image(edge_px=edge_px))  # fmt: skip
    assert levels(site_with(task), "long edge") == expected


def test_cost_counts_only_what_a_smaller_edge_loses_more():
    task = Task(name="view", flow="out", size=SizeLaw(median_bytes=4e5), image=Image(edge_px=1440))
    losses = [
        c.cost.quality_loss_frac for c in payload_changes(site_with(task)) if "edge" in c.setting
    ]
    assert losses == pytest.approx([0.14 - 0.08, 0.25 - 0.08])


def test_webp_pictures_are_not_offered_webp():
    task = Task(name="view", flow="out", size=SizeLaw(median_bytes=1e5),
                image=Image(edge_px=720, format="webp", quality=75))  # fmt: skip
    assert list(payload_changes(site_with(task))) == []


def stream(rate_bps, flow="out", duration_s=600.0):
    return Task(name="play", flow=flow, duration_s=duration_s,
                size=SizeLaw(median_bytes=rate_bps * duration_s / 8, spread=1.4))  # fmt: skip


@pytest.mark.parametrize(
    ("rate_bps", "flow", "kind", "expected"),
    [
        (5e6, "out", "media-streaming", ["2.5 Mbit/s (720p)", "1.2 Mbit/s (480p)",
                                         "700 kbit/s (360p)"]),
        (2.6e6, "out", "media-streaming", ["1.2 Mbit/s (480p)", "700 kbit/s (360p)"]),
        (655e3, "both", "calls", ["350 kbit/s (small picture)"]),
        (128e3, "out", "media-streaming", []),
        (500e3, "out", "cameras", []),
        (1e6, "out", "cameras", ["500 kbit/s (sub-stream 640x360, 5 pictures a second)"]),
    ],
)  # fmt: skip
def test_video_steps_down_its_ladder_and_sound_stays(rate_bps, flow, kind, expected):
    found = list(payload_changes(site_with(stream(rate_bps, flow), kind)))
    assert [change.after_text for change in found] == expected
    for change in found:
        task = change.apply(site_with(stream(rate_bps, flow), kind)).services[0].tasks[0]
        level_bps = task.size.median_bytes * 8 / task.duration_s
        assert level_bps < rate_bps
        assert task.size.spread == 1.4


def test_a_clip_sent_as_a_file_knows_its_length_from_its_kind(camp):
    clip = [c for c in payload_changes(camp) if c.setting == "trench cameras: event clip: "
            "stream rate"]  # fmt: skip
    assert [change.before_text for change in clip] == ["3.0 Mbit/s"] * 3
    task = clip[-1].apply(camp).services[2].tasks[1]
    assert task.size.median_bytes == pytest.approx(500e3 * 20 / 8)


def cached(scope, views=2.0, flow="out", lifetime_s=0.0):
    cache = Cache(scope=scope, views_per_object_day=views, lifetime_s=lifetime_s)
    return Task(name="page", flow=flow, size=SizeLaw(median_bytes=2e4), cache=cache)


@pytest.mark.parametrize(
    "task", [cached("none"), cached("browser", 0.0), cached("shared", flow="in")]
)
def test_what_nobody_may_keep_or_asks_for_again_is_left_alone(task):
    assert list(payload_changes(site_with(task))) == []


def test_private_content_is_offered_the_browser_only():
    whats = {change.what for change in payload_changes(site_with(cached("browser")))}
    assert whats == {"lifetime in the browser cache (page)"}


def test_lifetimes_only_grow():
    task = cached("shared", lifetime_s=86400.0)
    assert levels(site_with(task), "lifetime") == ["7.0 days", "30 days"]


def test_strength_follows_the_hit_share_of_a_lifetime():
    """Hit share lT / (1 + lT): l = 1 a day keeps 50 % in a day, 97 % in 30 days (arithmetic)."""
    found = list(payload_changes(site_with(cached("browser", 1.0))))
    by_level = {change.after_text: change.strength_frac for change in found}
    assert by_level["24 h"] == pytest.approx(0.2018, abs=1e-3)  # ln 2 / ln 31
    assert by_level["30 days"] == 1


def test_a_shared_cache_hears_all_visitors():
    one = list(payload_changes(site_with(cached("shared", 1.0), n_users=1)))
    many = list(payload_changes(site_with(cached("shared", 1.0), n_users=100)))
    assert many[0].strength_frac > one[0].strength_frac
