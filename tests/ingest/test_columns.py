import pytest

from linkfit.errors import TraceError
from linkfit.ingest.columns import assign_columns, column_index, names_measurements
from linkfit.ingest.options import ReadOptions


def is_number(cell):
    try:
        float(cell)
    except ValueError:
        return False
    return True


def assign(names, row=None, **options):
    row = row or ["1"] * len(names)
    return assign_columns(names, [row], ReadOptions(**options), "file", is_number=is_number)


@pytest.mark.parametrize(("name", "role", "direction"), [
    ("timestamp", "start", None), ("timestamp_start", "start", None), ("Time", "start", None),
    ("timestamp_end", "end", None), ("duration_s", "duration", None),
    ("delivery_time", "duration", None), ("upload", "rate", "up"), ("uplink_bps", "rate", "up"),
    ("rx_bps", "rate", "down"), ("download [Mbit/s]", "rate", "down"), ("rate_bps", "rate", None),
    ("tx_bytes", "volume", "up"), ("chunk_size", "size", None), ("rtt_ms", "rtt", None),
    ("ping_avg", "rtt", None), ("ping_worst", "rtt_worst", None), ("ping_best", "rtt_best", None),
    ("ping_stddev", "rtt_spread", None), ("pop_ping_drop_rate", "loss", None),
    ("packet_loss", "loss", None), ("packets_send", "n_probes", None),
    ("packets_lost", "n_lost", None), ("transport_protocol", "transport", None),
    ("server", "peer", None), ("direction", "direction", None),
])  # fmt: skip
def test_headers_tell_roles(name, role, direction):
    (column,) = assign([name]).columns
    assert (column.role, column.direction) == (role, direction)


@pytest.mark.parametrize("name", [
    "average_speed", "gps_speed", "tx_drops_ps", "fraction_obstructed", "rsrp", "priority", "ri",
    "ip_protocol", "chunk_index", "upload_retransmits", "signal_strength",
])  # fmt: skip
def test_headers_that_tell_nothing_of_the_link_are_not_read(name):
    assert assign([name]).columns == ()


def test_a_column_of_words_is_no_rate():
    assert assign(["downstream_bandwidth"], ["50M"]).columns == ()


def test_of_two_columns_for_one_role_the_one_with_a_unit_is_read():
    assignment = assign(["upload", "upload_mbps"])
    assert [c.name for c in assignment.columns] == ["upload_mbps"]
    assert assignment.notes[0][0] == "column left out"


def test_two_columns_with_units_are_refused_with_the_option_to_give():
    with pytest.raises(TraceError, match=r"one column as rate up, got 'up_bps', 'tx_bps'; say"):
        assign(["up_bps", "tx_bps"])


def test_the_caller_decides_and_then_nothing_measured_is_guessed():
    assignment = assign(
        ["time", "chunk_size", "delivery_time", "throughput"],
        columns={"chunk_size": "size", 3: "duration"},
        units={"size": "kbit"},
    )
    assert {c.role: c.factor for c in assignment.columns} == {
        "start": None, "size": 125.0, "duration": None,
    }  # fmt: skip


def test_all_wrong_options_are_named_at_once():
    with pytest.raises(TraceError, match=r"(?s)got 'uplod'.*for 'time', got 'thyme'"):
        assign(["time", "upload"], columns={"uplod": "rate up", "time": "thyme"})


def test_columns_are_found_by_name_or_counted_from_one():
    assert column_index("b", ["a", "b"]) == 1
    assert column_index(1, ["a", "b"]) == 0
    assert column_index("2", ["a", "b"]) == 1
    assert column_index(3, ["a", "b"]) is None
    assert column_index(0, ["a", "b"]) is None


def test_a_header_line_of_measurements_is_told_from_prose():
    assert names_measurements(["time", "upload [Mbit/s]"])
    assert not names_measurements(["Dear all"])
