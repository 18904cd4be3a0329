import numpy as np
import pytest

from linkfit.errors import TraceError
from linkfit.ingest.columns import assign_columns
from linkfit.ingest.notes import Notes
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.plan import NumberReader, make_plan


def plan(names, *rows, **options):
    to_number, notes = NumberReader("."), Notes("file")
    options = ReadOptions(**options)
    assignment = assign_columns(
        names, rows, options, "file", is_number=lambda c: not np.isnan(to_number(c))
    )
    return make_plan(assignment, rows, options, notes, to_number=to_number), notes


@pytest.mark.parametrize(("cell", "decimal", "number"), [
    ("1.5", ".", 1.5), (" 2 ", ".", 2.0), ("1e6", ".", 1e6), ("1,5", ",", 1.5), ("-3", ".", -3.0),
])  # fmt: skip
def test_cells_are_numbers(cell, decimal, number):
    assert NumberReader(decimal)(cell) == number


@pytest.mark.parametrize(("cell", "decimal"), [
    ("x", "."), ("1_000", "."), ("1,5", "."), ("1.234,5", ","), ("", "."),
])  # fmt: skip
def test_cells_that_are_no_numbers(cell, decimal):
    assert np.isnan(NumberReader(decimal)(cell))


def test_all_that_is_not_said_is_asked_for_at_once():
    with pytest.raises(TraceError, match=r"(?s)'throughput': expected a unit.*which way 'throughp"):
        plan(["t_s", "throughput"], ["0", "1"])


def test_nothing_to_read_shows_what_was_found():
    with pytest.raises(TraceError, match=r"expected a column of rates.* got 'time' as start; name"):
        plan(["time", "mood"], ["2026-01-01T00:00:00Z", "good"])


def test_words_are_no_times():
    with pytest.raises(TraceError, match=r"column 'time': expected times as .*, got 'noon'"):
        plan(["time", "up_bps"], ["noon", "1"], ["midnight", "2"])


def test_an_odd_round_trip_asks_for_its_unit():
    with pytest.raises(TraceError, match=r"column 'rtt': expected a unit .* a median of 1.5; say"):
        plan(["t_s", "rtt"], ["0", "1.5"])


def test_a_spread_has_the_unit_of_its_round_trip_however_small():
    made, _ = plan(["t_s", "ping_avg", "ping_stddev"], ["0", "50", "0.4"])
    assert made.find("rtt_spread").factor == made.find("rtt").factor == 1e-3


def test_a_duration_without_unit_is_seconds_and_said():
    made, notes = plan(["size_kB", "duration"], ["5", "1"], direction="up")
    assert made.find("duration").factor == 1.0
    assert made.is_transfers
    assert [f.kind for f in notes.findings] == ["unit taken: duration"]


def test_rates_beside_transfers_say_the_same_again():
    made, notes = plan(["size_kB", "duration_s", "rate_bps"], ["5", "1", "40000"], direction="up")
    assert made.having("rate") == ()
    assert [f.kind for f in notes.findings] == ["column left out"]


@pytest.mark.parametrize(("names", "is_passive"), [
    (["t_s", "up_bps"], False), (["t_s", "tx_bps"], True), (["t_s", "up_bps", "rsrp"], True),
    (["t_s", "up_bps", "state"], True), (["t_s", "rtt_ms", "state"], False),
])  # fmt: skip
def test_a_devices_own_log_is_passive(names, is_passive):
    assert plan(names, ["0"] * len(names))[0].is_passive is is_passive
    if "up_bps" in names:
        assert not plan(names, ["0"] * len(names), saturating=True)[0].is_passive


def test_times_without_zone_are_said():
    _, notes = plan(["time", "up_bps"], ["2026-01-01 00:00:00", "1"], timezone="Europe/Lisbon")
    assert notes.findings[0].text == "times carry no zone; taken as Europe/Lisbon"
