from datetime import UTC, datetime

import numpy as np
from numpy.testing import assert_allclose

from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.page.week_map import week_figure, week_map


def link(timezone="UTC", hour=10):
    parts = [
        Trace.from_rates(np.full(20, 4e6), step_s=1.0, direction="up",
                         start=datetime(2026, 6, day, hour, tzinfo=UTC))
        for day in (1, 2, 8)  # Monday, Tuesday, Monday
    ]  # fmt: skip
    return fit_link(Trace.merge(parts), seed=0, timezone=timezone)


def test_a_test_lands_in_its_local_hour_and_day():
    found = week_map(link().up)
    assert found.is_measured.sum() == 2
    assert found.is_measured[10, 0]
    assert found.is_measured[10, 1]
    assert found.n_pieces[10, 0] == 2
    rates = link().up.runs.rates_bps
    assert_allclose(found.median_bps[10, 0], np.median(rates), rtol=1e-3)


def test_the_zone_moves_a_late_test_to_the_next_day():
    found = week_map(link(timezone="Asia/Tokyo", hour=20).up)  # UTC + 9
    assert found.is_measured[5, 1]
    assert found.is_measured[5, 2]


def test_without_a_clock_nothing_is_placed():
    runs = fit_link(Trace.from_rates(np.full(60, 4e6), step_s=1.0, direction="up"), seed=0).up
    assert not week_map(runs).is_measured.any()


def test_cells_never_measured_are_struck_out_and_the_others_carry_their_number():
    figure = week_figure(week_map(link().up), "up")
    axes = figure.axes[0]
    strokes = np.isnan(axes.lines[0].get_xdata()).sum()  # each stroke ends with a break
    assert strokes == 24 * 7 - 2
    assert len(axes.collections[0].get_paths()) == 2
    assert len([text for text in axes.texts if text.get_text()]) == 2
