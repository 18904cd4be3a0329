"""The section on typing, pages and calls: units, intervals, verdicts, what to mind."""

from types import SimpleNamespace

import numpy as np
import pytest

from linkfit.forecast.draws import Forecast
from linkfit.forecast.interactive import Cell
from linkfit.forecast.interactive_forecast import NO_LIMIT
from linkfit.forecast.interactive_short import NOTHING_ELSE, ShortInteractive
from linkfit.forecast.rate_limits import RateLimit
from linkfit.forecast.world_intervals import Estimate
from linkfit.report.page.blocks import Bullets, Table
from linkfit.report.page.interactive import interactive_section

SURE = Estimate(value=1.0, low=1.0, high=1.0)


def cell(activity, situation, around_s, good_frac):
    times = around_s * np.linspace(0.8, 1.2, 20)
    share = Estimate(value=good_frac, low=good_frac - 0.01, high=good_frac + 0.01)
    time = Forecast(draws=times, unit="s", world=np.zeros(20, dtype=np.int32))
    return Cell(activity=activity, situation=situation, measure="from key to screen",
                good="within 250 ms", share=share, time=time)  # fmt: skip


def limit(value_bps):
    largest = Estimate(value=value_bps, low=value_bps / 2, high=value_bps * 2)
    return RateLimit(name="key echo", good="within 250 ms", idle_share=SURE, start_share=SURE,
                     sync_share=SURE, limit=largest)  # fmt: skip


def shown(*, limits=(), cells=(), hour=20, queue="common practice", is_floor=False):
    cells = cells or (cell("key echo", NOTHING_ELSE, 0.07, 0.98),
                      cell("key echo", NO_LIMIT, 0.6, 0.05),
                      cell("key echo", "a backup runs at 1.50 Mbit/s", 0.08, 0.95))  # fmt: skip
    short = ShortInteractive(cells=cells, limits=limits, limit_bps=1.5e6, hour=hour,
                             queue_source=queue, is_floor=is_floor)  # fmt: skip
    section = interactive_section(
        SimpleNamespace(interactive=short, site=SimpleNamespace(timezone="Europe/Lisbon"))
    )
    bullets = [block.items for block in section.blocks if isinstance(block, Bullets)]
    return *bullets, next(block for block in section.blocks if isinstance(block, Table))


def test_without_services_of_the_kind_there_is_no_section():
    assert interactive_section(SimpleNamespace(interactive=None)) is None


def test_each_row_has_time_share_and_verdict():
    _, _, table = shown(limits=(limit(1.5e6),))
    assert table.rows[0] == ("key echo, from key to screen", NOTHING_ELSE, "69 ms (56 to 83 ms)",
                             "98 % (97 to 99 %)", "fits")  # fmt: skip
    assert table.rows[1][3:] == ("5 % (4 to 6 %)", "does not fit")
    assert table.rows[2][3:] == ("95 % (94 to 96 %)", "may fit")


def test_the_limit_is_said_with_its_interval():
    answers, _, _ = shown(limits=(limit(1.5e6),))
    assert answers == (
        "key echo beside a backup without a limit: does not fit; set a limit of at most "
        "1.50 Mbit/s (750 kbit/s to 3.00 Mbit/s), 750 kbit/s to be safe.",
    )


def test_a_limit_of_common_practice_is_told_as_such():
    cells = tuple(cell("page load", name, 1.5, 0.9) for name in (NOTHING_ELSE, NO_LIMIT, "x"))
    answers, _, _ = shown(cells=cells)
    assert "under 1.50 Mbit/s, with which common practice would start" in answers[0]
    assert answers[1].startswith("page load beside a backup without a limit: does not fit, ")


@pytest.mark.parametrize(("hour", "words"), [
    (20, "20 to 21 h (Europe/Lisbon), the slowest hour"),
    (23, "23 to 0 h"),
    (None, "any time that was measured"),
])  # fmt: skip
def test_the_hour_is_told(hour, words):
    _, notes, _ = shown(limits=(limit(1e6),), hour=hour)
    assert words in notes[0]


def test_what_makes_it_wide_or_a_floor_is_told():
    _, notes, _ = shown(limits=(limit(1e6),), is_floor=True)
    assert any("the queue is a guess" in note for note in notes)
    assert any("rates and limits are a floor" in note for note in notes)
    _, notes, _ = shown(limits=(limit(1e6),), queue="measured under load")
    assert any("measured under load" in note for note in notes)
