"""Texts with units: strict in, short and honest out."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit import units
from linkfit.errors import InputError


@pytest.mark.parametrize(
    ("text", "rate_bps"),
    [("24 Mbit/s", 24e6), ("512kbit/s", 512e3), ("1.5 Gbit/s", 1.5e9), ("800 bps", 800.0)],
)
def test_rates(text, rate_bps):
    assert units.parse_rate_bps(text) == rate_bps


@pytest.mark.parametrize(
    "text", ["24", "24 MB/s", "24 Mb", "-3 Mbit/s", "1,5 Mbit/s", "", "inf bit/s"]
)
def test_a_rate_without_a_clear_unit_is_refused(text):
    with pytest.raises(InputError, match="rate: expected a number and bit/s"):
        units.parse_rate_bps(text)


@pytest.mark.parametrize(
    ("text", "size_bytes"),
    [("3.5 MB", 3.5e6), ("60 B", 60.0), ("2 GiB", 2 * 2**30), ("1 KiB", 1024.0), ("4MB", 4e6)],
)
def test_sizes_decimal_and_binary(text, size_bytes):
    # IEC 80000-13: kB = 1000 B, KiB = 1024 B
    assert units.parse_size_bytes(text) == size_bytes


@pytest.mark.parametrize("text", ["10 Mb", "4 Mbit", "1,5 GB", "x MB", "5"])
def test_bits_are_not_taken_for_bytes(text):
    with pytest.raises(InputError, match="size: expected a number and B"):
        units.parse_size_bytes(text)


@pytest.mark.parametrize(
    ("text", "duration_s"),
    [("55 ms", 0.055), ("15 min", 900.0), ("6 h", 21600.0), ("7 days", 604800.0)],
)
def test_durations(text, duration_s):
    assert units.parse_duration_s(text) == pytest.approx(duration_s)


def test_energy_and_power():
    assert units.parse_energy_wh("640 Wh") == 640
    assert units.parse_energy_wh("1.2 kWh") == 1200
    assert units.parse_power_w("13 W") == 13
    assert units.parse_power_w("900 mW") == pytest.approx(0.9)
    with pytest.raises(InputError, match=r"power: .* got '13'"):
        units.parse_power_w("13")
    with pytest.raises(InputError, match=r"energy: .* got '50 Ah'"):
        units.parse_energy_wh("50 Ah")


# SI arithmetic: 1 Mbit/s for 30 days is 324 GB or 301.75 GiB
def test_volume_arithmetic():
    month_bytes = units.parse_rate_bps("1 Mbit/s") / 8 * units.parse_duration_s("30 d")
    assert month_bytes == units.parse_size_bytes("324 GB") == 324e9
    assert units.parse_size_bytes("301.75 GiB") == pytest.approx(month_bytes, rel=2e-5)


@pytest.mark.parametrize(
    ("duration_s", "text"),
    [
        (0.0554, "55 ms"), (0.9994, "1.0 s"), (59.6, "60 s"), (119.0, "120 s"), (300.0, "5.0 min"),
        (10_000.0, "2.8 h"), (5 * 86400.0, "5.0 days"), (math.inf, "never"), (0.0, "0 ms"),
    ],
)  # fmt: skip
def test_durations_are_written_in_the_unit_a_person_uses(duration_s, text):
    assert units.format_duration(duration_s) == text


@pytest.mark.parametrize(
    ("rate_bps", "text"),
    [(5.8e6, "5.80 Mbit/s"), (999_999.0, "1.00 Mbit/s"), (12.0, "12.0 bit/s"), (0.0, "0 bit/s")],
)
def test_rates_are_written_with_three_digits(rate_bps, text):
    assert units.format_rate(rate_bps) == text


@given(st.floats(1.0, 1e13))
def test_a_written_size_reads_back_within_its_digits(size_bytes):
    assert units.parse_size_bytes(units.format_size(size_bytes)) == pytest.approx(
        size_bytes, rel=6e-3
    )


@pytest.mark.parametrize(
    ("share_frac", "text"),
    [
        (0.0, "0 %"),
        (0.001, "<1 %"),
        (0.005, "<1 %"),
        (0.5, "50 %"),
        (0.995, ">99 %"),
        (1.0, "100 %"),
    ],
)
def test_a_share_is_never_rounded_to_certainty(share_frac, text):
    assert units.format_share(share_frac) == text


@pytest.mark.parametrize(("number", "said"), [(0, "0 runs"), (1, "1 run"), (2, "2 runs")])
def test_a_count_agrees_with_its_noun(number, said):
    assert units.format_count(number, "run") == said


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (2.0, "s", "2.0 s"),
        (3.0, "days", "3.0 days"),
        (5e6, "bytes", "5.00 MB"),
        (5e6, "bit/s", "5.00 Mbit/s"),
        (4.0, "users", "4 users"),
        (math.inf, "days", "never"),
        (math.inf, "users", "never"),
    ],
)
def test_an_amount_stands_with_its_unit(value, unit, text):
    assert units.format_amount(value, unit) == text


@pytest.mark.parametrize(("energy_wh", "text"), [
    (54.3, "54 Wh"), (216.0, "220 Wh"), (0.77, "0.77 Wh"), (12345.0, "12000 Wh"),
    (float("inf"), "without end"),
])  # fmt: skip
def test_energies_have_their_unit_and_no_exponent(energy_wh, text):
    assert units.format_energy(energy_wh) == text
