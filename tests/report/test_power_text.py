"""Battery and panel on a screen."""

import io

from rich.console import Console

from linkfit.report.power_text import power_text

RECORD = {
    "site": "hut [red]", "battery_alone_h": 41.85, "battery_alone_days": 1.744,
    "power": {"load_w": 13.0, "panel_w": 120.0, "panel_in_sun_w": 72.0, "panel_in_shade_w": 20.4},
    "months": [{"month": "december", "sun_hours": 1.4, "p05_h": 2.9, "p50_h": 6.8, "p95_h": 15.8,
                "mean_p05_h": 5.7, "mean_p50_h": 7.6, "mean_p95_h": 10.0, "prob_whole_day": 0.01}],
    "changes_month": "december",
    "changes": [{"what": "load halved", "p05_h": 5.7, "p50_h": 7.6, "p95_h": 10.0},
                {"what": "battery twice as large", "p05_h": 0.0, "p50_h": 0.0, "p95_h": 0.0}],
    "energy_per_gb": [
        {"direction": "up", "p05_wh": 4.1, "p50_wh": 6.6, "p95_wh": None,
         "added": {"p05_wh": 0.77, "p50_wh": 1.2, "p95_wh": 1.8}},
        {"direction": "down", "p05_wh": None, "p50_wh": None, "p95_wh": None, "added": None},
    ],
    "notes": ["sun differs"], "cautions": ["keep to the maker's limits"],
}  # fmt: skip


def shown(record, width=80):
    console = Console(file=io.StringIO(), width=width, markup=False, emoji=False, highlight=False)
    for part in power_text(record):
        console.print(part)
    return console.file.getvalue()


def test_each_number_has_its_unit_and_interval():
    text = shown(RECORD, 200)
    assert "7.6 h (5.7 to 10.0)" in text
    assert "load of 13 W for 41.9 h (1.7 days without sun)" in text
    assert "72 W in full sun; in shade such a panel brings 20 W" in text
    assert "up (server to internet): 6.6 Wh (90 %: 4.1 to without end)" in text
    assert "1.2 Wh (90 %: 0.77 to 1.8) more than if it were up and idle" in text
    assert "down (internet to server): without end" in text
    assert "load halved: 7.6 h more a day (5.7 to 10.0)" in text
    assert "no gain found: battery twice as large" in text
    assert "keep to the maker's limits" in text
    assert "hut [red]" in text


def test_nothing_is_cut_on_a_narrow_screen():
    text = shown(RECORD, 40)
    assert all(len(line) <= 40 for line in text.splitlines())
    assert "mean: 7.6 h (5.7 to 10.0)" in text


def test_what_does_not_apply_is_left_out():
    bare = RECORD | {"energy_per_gb": [], "notes": [],
                     "power": RECORD["power"] | {"panel_w": 0.0}}  # fmt: skip
    text = shown(bare, 120)
    assert "Energy" not in text
    assert "in full sun" not in text
    assert "Notes" not in text


def test_a_large_energy_is_written_out():
    text = shown(RECORD | {"energy_per_gb": [
        {"direction": "up", "p05_wh": 95.0, "p50_wh": 216.0, "p95_wh": 1400.0, "added": None}]},
        200)  # fmt: skip
    assert "220 Wh (90 %: 95 to 1400)" in text
