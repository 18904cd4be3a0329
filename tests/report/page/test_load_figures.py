import numpy as np

from linkfit.forecast.burn_down import SHARES_DONE, BurnDown
from linkfit.forecast.data_fan import DataFan
from linkfit.forecast.draws import Forecast
from linkfit.report.page.load_figures import (
    burn_down_figure,
    fan_figure,
    payload_figure,
    plain_label,
)
from linkfit.site.model import Backlog, SizeLaw


def forecast(values, unit):
    draws = np.asarray(values, dtype=float)
    return Forecast(draws=draws, unit=unit, world=np.zeros(draws.size, dtype=np.int32))


def burn(*, days):
    backlog = Backlog(name="photos $x$", n_items=9, size=SizeLaw(median_bytes=1e6))
    return BurnDown(backlog=backlog, shares_done=SHARES_DONE, days=tuple(days))


def test_no_text_is_read_as_mathematics():
    assert plain_label("costs $5 and $6\x1b[31m") == r"costs \$5 and \$6\x1b[31m"


def test_axes_of_payloads_carry_units_and_known_times():
    points = tuple((size, forecast([size / 1e6, size / 5e5], "s")) for size in (1e4, 1e6, 1e9))
    axes = payload_figure({"up": points, "down": points}).axes[0]
    assert "bytes" in axes.get_xlabel()
    assert [label.get_text() for label in axes.get_yticklabels()][:2] == ["10 ms", "100 ms"]
    medians = [line for line in axes.lines if not line.get_label().startswith("_")]
    assert len(medians) == 2  # told apart by line and marker, not by colour alone
    assert len({line.get_linestyle() for line in medians}) == 2
    assert len({line.get_marker() for line in medians}) == 2
    assert len(axes.lines) == 2 + 4  # each band with its edges


def test_the_fan_holds_the_cap_and_starts_at_nothing():
    used = tuple(forecast([1e9 * day, 2e9 * day], "bytes") for day in (1, 2, 3))
    axes = fan_figure(DataFan(day_ends_days=(1.0, 2.0, 3.0), used=used, cap_bytes=4e9)).axes[0]
    assert axes.lines[0].get_ydata()[0] == 0
    assert list(axes.lines[1].get_ydata()) == [4.0, 4.0]
    assert "[GB]" in axes.get_ylabel()


def test_a_backlog_of_hours_is_drawn_in_hours_and_one_of_days_in_days():
    short = burn_down_figure(burn(days=[forecast([0.05 * n, 0.06 * n], "days")
                                        for n in range(1, 11)]))  # fmt: skip
    long = burn_down_figure(burn(days=[forecast([n, 2.0 * n], "days") for n in range(1, 11)]))
    assert "[h]" in short.axes[0].get_xlabel()
    assert "[days]" in long.axes[0].get_xlabel()


def test_a_backlog_that_some_futures_never_end_is_drawn_all_the_same():
    days = [forecast([n, np.inf], "days") for n in range(1, 11)]
    axes = burn_down_figure(burn(days=days)).axes[0]
    assert np.isfinite(axes.get_xlim()).all()
