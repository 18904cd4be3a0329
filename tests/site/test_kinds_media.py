"""Streams, cameras, calls: sizes are rate times length."""

import pytest

from linkfit.site.kinds_media import CALLS, CAMERAS, MEDIA_STREAMING


@pytest.mark.parametrize(
    ("kind", "task", "rate_bps"),
    [
        (MEDIA_STREAMING, "episode at 720p", 2.5e6),
        (MEDIA_STREAMING, "episode at 480p", 1.2e6),
        (MEDIA_STREAMING, "music track", 128e3),
        (CAMERAS, "look live", 500e3),
        (CAMERAS, "record away from the site", 3e6),
        (CALLS, "voice call", 55e3),
        (CALLS, "video call", 655e3),
    ],
)
def test_size_is_rate_times_duration(kind, task, rate_bps):
    found = kind.task(task)
    assert found.size.median_bytes * 8 / found.duration_s == pytest.approx(rate_bps, rel=0.01)


def test_videos_last_as_long_as_their_tasks():
    for kind in (MEDIA_STREAMING, CAMERAS, CALLS):
        for video in kind.videos:
            task = kind.task(video.task)
            assert task.duration_s in (0, video.length_s)


def test_an_event_clip_is_a_file_of_20_s_at_3_mbit_s():
    assert CAMERAS.task("event clip").size.median_bytes == 3e6 * 20 / 8
    assert CAMERAS.task("event clip").duration_s == 0


def test_calls_are_live_both_ways_and_promise_the_one_way_delay_of_g114():
    # ITU-T G.114: 400 ms one way is the limit (as quoted elsewhere)
    for task in CALLS.tasks:
        assert task.live
        assert task.flow == "both"
        assert task.target_s == 0.4


def test_continuous_recording_is_no_usual_task():
    # 3 Mbit/s for a day: 32.4 GB, most plans in two days
    task = CAMERAS.task("record away from the site")
    assert task in CAMERAS.occasional
    assert task.size.median_bytes == pytest.approx(32.4e9)
