import pytest

from linkfit.cli.link_input import QuickNumbers, TraceInput, link_from, mean_rates_bps, trace_input
from linkfit.errors import InputError


def test_quick_numbers_become_a_link():
    link = link_from(TraceInput(paths=()), QuickNumbers(down="24 Mbit/s", rtt="55 ms"), seed=0)
    assert link.up is None
    assert link.direction("down").mean_rate_bps > 24e6  # headers on top of the goodput
    assert link.latency.n_idle == 1


@pytest.mark.parametrize(
    ("paths", "numbers", "said"),
    [
        ((), {}, "got nothing"),
        ((), {"rtt": "55 ms"}, "got --rtt alone"),
        ((), {"up": "6 MB/s"}, "--up: expected a number and bit/s"),
        ((), {"down": "fast"}, "--down: expected"),
        ((), {"up": "6 Mbit/s", "rtt": "55"}, "--rtt: expected"),
    ],
)
def test_a_link_that_is_not_said_or_said_twice(paths, numbers, said):
    with pytest.raises(InputError, match=said):
        link_from(TraceInput(paths=paths), QuickNumbers(**numbers), seed=0)


def rates_file(tmp_path, name="up.csv", direction="up"):
    path = tmp_path / name
    lines = "".join(f"{t},{4 + t % 3}\n" for t in range(60))
    path.write_text(f"time_s,rate {direction} [Mbit/s]\n{lines}")
    return str(path)


def test_quick_numbers_complete_what_files_do_not_hold(tmp_path):
    given = TraceInput(paths=(rates_file(tmp_path),))
    link = link_from(given, QuickNumbers(down="24 Mbit/s", rtt="55 ms"), seed=0)
    assert link.direction("up").n_tests == 1
    assert link.direction("up").measured_s == 60
    assert link.direction("down").measured_s == 10
    assert link.latency is not None


def test_a_number_beside_a_measurement_of_the_same_is_refused(tmp_path):
    given = TraceInput(paths=(rates_file(tmp_path),))
    with pytest.raises(InputError, match="--up: expected a number for what the files do not hold"):
        link_from(given, QuickNumbers(up="6 Mbit/s", down="24 Mbit/s"), seed=0)


def test_numbers_beside_a_fitted_link_are_refused(tmp_path):
    path = tmp_path / "kept"
    link_from(TraceInput(paths=(rates_file(tmp_path),)), QuickNumbers(), seed=0).save(path)
    with pytest.raises(InputError, match=r"a fitted link or quick numbers .* got both"):
        link_from(TraceInput(paths=(str(path),)), QuickNumbers(down="24 Mbit/s"), seed=0)


@pytest.mark.parametrize("text", ["rate", "=Mbit/s", "rate=", ""])
def test_a_pair_without_both_sides_is_shown(trace_file, text):
    given = trace_input([str(trace_file)], None, None, [text], "UTC")
    with pytest.raises(InputError, match=r"--units: expected COLUMN=VALUE, got '"):
        link_from(given, QuickNumbers(), seed=0)


def test_a_column_may_be_named_by_its_number(tmp_path):
    path = tmp_path / "plain.csv"
    path.write_text("a,b\n" + "\n".join(f"{i},5" for i in range(30)))
    given = trace_input([str(path)], "up", ["1=start", "2=rate"], ["2=Mbit/s", "1=s"], "UTC")
    link = link_from(given, QuickNumbers(), seed=0)
    assert link.direction("up").mean_rate_bps == pytest.approx(5e6 * 1500 / 1448)


def test_a_damaged_link_is_not_taken_for_a_trace(tmp_path):
    path = tmp_path / "link.json"
    path.write_text('{"schema": "linkfit/link/1", "up": ')
    with pytest.raises(InputError, match="damaged"):
        link_from(TraceInput(paths=(str(path),)), QuickNumbers(), seed=0)


def test_mean_rates_only_with_a_link(trace_file):
    assert mean_rates_bps(None, timezone="UTC", seed=0) is None
    rates = mean_rates_bps([str(trace_file)], timezone="UTC", seed=0)
    assert rates["up"] < rates["down"]


def test_the_duration_of_an_access_log_is_a_column_with_its_unit():
    given = trace_input(["access.log"], None, ["9=size"], None, "UTC", duration_field="last=ms")
    assert given.columns == ("9=size", "last=duration")
    assert given.units == ("duration=ms",)


@pytest.mark.parametrize("text", ["last", "=ms", "last="])
def test_a_duration_field_without_its_unit(text):
    with pytest.raises(InputError, match=f"--duration-field: .* got '{text}'"):
        trace_input(["access.log"], None, None, None, "UTC", duration_field=text)
