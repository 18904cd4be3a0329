"""Choices of stored pictures as a person reads them."""

import io

import pytest
from rich.console import Console

from linkfit.report.photos_text import photos_text

CHOICE = {
    "edge_px": 1440, "format": "jpeg", "quality": 80, "present": True, "median_bytes": 209e3,
    "p95_s": 2.8, "p95_low_s": 2.1, "p95_high_s": 3.1, "max_users": 8, "max_users_low": 4,
    "max_users_high": 16, "p50_bytes_per_cycle": 9e8, "p05_bytes_per_cycle": 5.5e8,
    "p95_bytes_per_cycle": 1.6e9, "extrapolated": "",
}  # fmt: skip
SMALL = CHOICE | {"edge_px": 100, "format": "webp", "present": False, "p95_s": None,
                  "p95_low_s": None, "p95_high_s": None, "max_users": 200, "max_users_low": 200,
                  "max_users_high": 200, "p05_bytes_per_cycle": 8e8, "p95_bytes_per_cycle": 9e8,
                  "extrapolated": "edge: measured from 250 to 2560 px, got 100 px"}  # fmt: skip
RECORD = {
    "site": "hut", "what_if": ["users = 2 (was 4)"], "asked_px": [],
    "tasks": [{"service": "finds", "task": "view", "n_users": 8, "target_s": 2.0, "n_requests": 1,
               "choices": [CHOICE, SMALL]}],
}  # fmt: skip


def shown(record, width=80):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, emoji=False, highlight=False)
    for part in photos_text(record):
        console.print(part)
    return out.getvalue()


@pytest.mark.parametrize("width", [80, 40])
def test_everything_is_there_with_its_interval(width):
    text = shown(RECORD, width)
    assert max(map(len, text.splitlines())) <= width
    joined = " ".join(text.split())
    for part in ("finds: view (1 picture, 8 users, target 2.0 s)", "1440 px JPEG q80", "210 kB",
                 "as the site is", "(2.1 to 3.1 s)", "(4 to 16)", "(550 MB to 1.6 GB)",
                 "(800 to 900 MB)", "200+", "never", "users = 2 (was 4)",
                 "beyond what was measured: edge: measured from 250 to 2560 px"):  # fmt: skip
        assert part in joined, part


def test_pictures_that_meet_their_target_are_folded_to_what_a_choice_needs():
    other = CHOICE | {"present": False, "p95_s": 1.5}
    sizes = [other | {"edge_px": edge, "median_bytes": 100.0 * edge} for edge in (720, 1080, 1920)]
    slow = other | {"edge_px": 2560, "p95_s": 9.0, "median_bytes": 9e5}
    fine = RECORD["tasks"][0] | {"choices": [CHOICE | {"p95_s": 1.8}, *sizes, slow]}
    joined = " ".join(shown(RECORD | {"tasks": [fine]}).split())
    for part in ("1440 px", "1920 px", "720 px", "2 other choices left out (all of them: --json)"):
        assert part in joined, part
    assert "2560 px JPEG" not in joined
    assert "1080 px" not in joined
    asked = " ".join(shown(RECORD | {"tasks": [fine], "asked_px": [2560]}).split())
    assert "2560 px JPEG" in asked
    missed = fine | {"choices": [CHOICE, *sizes, slow]}
    joined = " ".join(shown(RECORD | {"tasks": [missed]}).split())
    assert "2560 px JPEG" in joined
    assert "left out" not in joined


def test_a_number_of_users_has_its_interval_also_where_that_is_one_number():
    none = CHOICE | {"max_users": 0, "max_users_low": 0, "max_users_high": 0}
    task = RECORD["tasks"][0] | {"choices": [none]}
    assert "(0)" in shown(RECORD | {"tasks": [task]})


def test_hostile_names_do_nothing():
    task = RECORD["tasks"][0] | {"service": "a\x1b]0;x\x07"}
    assert "\x1b" not in shown(RECORD | {"tasks": [task]})


def test_no_pictures_at_all_are_said():
    assert "No task of this site sends stored pictures" in shown(RECORD | {"tasks": []})
