import pytest

from linkfit.errors import InputError
from linkfit.ingest.header import parse_header, unit_factor, word_set


@pytest.mark.parametrize(("name", "words", "unit"), [
    ("upload [Mbit/s]", ("upload",), "Mbit/s"),
    ("Download (MB/s)", ("download",), "MB/s"),
    ("rate_bps", ("rate",), "bps"),
    ("rtt_ms", ("rtt",), "ms"),
    ("upload_mbps", ("upload",), "mbps"),
    ("upload_mbit_s", ("upload",), "mbit/s"),
    ("downlinkMbps", ("downlink",), "Mbps"),
    ("packet_loss_pct", ("packet", "loss"), "pct"),
    ("packet_loss", ("packet", "loss"), None),
    ("upload", ("upload",), None),
    ("Gerät", ("gerät",), None),
    ("t", ("t",), None),
    ("time_s", ("time",), "s"),
])  # fmt: skip
def test_a_header_is_words_and_a_unit(name, words, unit):
    header = parse_header(name)
    assert (header.words, header.unit) == (words, unit)


def test_lower_case_kb_and_mb_are_no_unit_for_they_say_neither_bits_nor_bytes():
    assert parse_header("payload_mb").unit is None
    assert parse_header("payload_kb").unit is None


@pytest.mark.parametrize(("unit", "quantity", "factor"), [
    ("Mbit/s", "rate", 1e6), ("MB/s", "rate", 8e6), ("MiB/s", "rate", 8 * 2**20),
    ("kbit", "size", 125.0), ("KiB", "size", 1024.0), ("ms", "time", 1e-3), ("%", "share", 0.01),
])  # fmt: skip
def test_units_by_their_definition(unit, quantity, factor):
    # IEC 80000-13: decimal prefixes are powers of 1000, Ki and Mi of 1024; a byte is 8 bits
    assert unit_factor(unit, quantity, "x") == factor


def test_an_unknown_unit_is_shown_with_what_would_do():
    with pytest.raises(InputError, match=r"x: expected a unit of rate such as bit/s.*'parsec'"):
        unit_factor("parsec", "rate", "x")


def test_words_are_a_set():
    assert word_set("a b a") == {"a", "b"}
