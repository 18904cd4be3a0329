import math
import sqlite3

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.ingest import store_format as fmt


@given(st.floats(1e-3, 1e12))
def test_a_rate_comes_back_within_0_027_percent(rate):
    assert fmt.rate_of(fmt.code_of(rate)) == pytest.approx(rate, rel=2.7e-4)


@given(st.integers(1, 1500))
def test_small_whole_numbers_of_bytes_come_back_exactly(n_bytes):
    assert round(fmt.rate_of(fmt.code_of(n_bytes))) == n_bytes


def test_nothing_is_exactly_nothing_and_never_a_gap():
    assert fmt.code_of(0.0) == 0
    assert fmt.rate_of(0) == 0.0


@pytest.mark.parametrize("nonsense", [math.nan, -1.0, math.inf])
def test_what_is_no_rate_is_a_gap(nonsense):
    assert fmt.code_of(nonsense) == fmt.GAP
    assert math.isnan(fmt.rate_of(fmt.GAP))


def test_rates_beyond_both_ends_stay_rates():
    assert fmt.rate_of(fmt.code_of(1e-9)) == pytest.approx(1e-3)
    assert fmt.rate_of(fmt.code_of(1e15)) == pytest.approx(1e12)


def test_codes_are_little_endian_on_disk():
    assert fmt.pack([1, 0xFFFF]) == b"\x01\x00\xff\xff"
    assert fmt.unpack(b"\x01\x00\xff\xff").tolist() == [1, 0xFFFF]


def test_a_store_is_told_by_the_application_id_of_the_file_format(tmp_path):
    # SQLite database file format, section 1.3: big-endian at offset 68
    path = tmp_path / "any.name"
    database = sqlite3.connect(path)
    fmt.create(database)
    database.close()
    assert fmt.is_store(path.read_bytes()[:100])
    assert not fmt.is_store(b"SQLite format 3\0" + bytes(84))
    assert not fmt.is_store(b"")


def test_migration_brings_version_0_to_the_present_with_all_it_held():
    old, new = sqlite3.connect(":memory:"), sqlite3.connect(":memory:")
    fmt.create(old, version=0)
    fmt.create(new)
    old.execute("INSERT INTO round_trips VALUES (5.0, NULL, 0)")
    old.execute("INSERT INTO round_trips VALUES (6.0, 0.05, 1)")
    assert fmt.migrate(old) == fmt.VERSION
    assert fmt.migrate(old) == 0
    tables = "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
    assert old.execute(tables).fetchall() == new.execute(tables).fetchall()
    rows = old.execute("SELECT time_s, rtt_s, n_probes, n_lost FROM round_trips").fetchall()
    assert rows == [(5.0, None, 1, 1), (6.0, 0.05, 1, 0)]
