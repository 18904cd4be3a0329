from pathlib import Path

import pytest

from linkfit.cli.record_input import metrics_address, record_plan, unit_command, zone_of
from linkfit.errors import ConfigError, InputError

TYPED = {
    "store": "camp.store", "interface": "lo", "probe": None, "probe_every": "60 s",
    "server": None, "seconds": 10, "daily_budget": "50 MB", "monthly_budget": "1 GB",
    "cycle_day": 5, "timezone": "Europe/Lisbon", "metrics": None, "most_size": "200 MB",
    "stop_after": None, "seed": 3,
}  # fmt: skip


def test_what_is_typed_is_what_is_planned():
    plan = record_plan(**TYPED | {"server": "127.0.0.1:5300", "probe": "127.0.0.1:53",
                                  "metrics": "9433", "stop_after": "2 h"})  # fmt: skip
    assert (plan.store, plan.interface, plan.probe) == (Path("camp.store"), "lo", ("127.0.0.1", 53))
    assert (plan.metrics, plan.most_s, plan.most_bytes) == (("127.0.0.1", 9433), 7200.0, 200e6)
    tests = plan.tests
    assert (tests.host, tests.port, tests.daily_bytes, tests.cycle_bytes) == (
        "127.0.0.1", 5300, 50e6, 1e9,
    )  # fmt: skip
    assert (tests.cycle_day, str(tests.zone), tests.seed) == (5, "Europe/Lisbon", 3)


def test_without_a_server_there_are_no_tests_and_a_probe_without_port_is_a_ping():
    plan = record_plan(**TYPED | {"probe": "127.0.0.1", "interface": None})
    assert plan.tests is None
    assert plan.probe == ("127.0.0.1", None)
    assert plan.interface == "lo"


def test_everything_that_is_wrong_is_told_at_once():
    with pytest.raises(ConfigError, match="got 'soon'") as caught:
        record_plan(
            **TYPED | {"interface": None, "probe_every": "soon", "most_size": "3 kB"}
            | {"metrics": "x", "timezone": "Mars", "daily_budget": "5 Mbit"}
        )  # fmt: skip
    said = str(caught.value)
    for option in ("--probe-every", "--most-size", "--metrics", "--timezone", "--daily-budget",
                   "--interface"):  # fmt: skip
        assert option in said


@pytest.mark.parametrize(
    ("text", "address"),
    [("9433", ("127.0.0.1", 9433)), ("10.0.0.2:80", ("10.0.0.2", 80)), ("[::1]:80", ("::1", 80))],
)
def test_where_metrics_are_served(text, address):
    assert metrics_address(text) == address


@pytest.mark.parametrize("text", ["", "host", "99999", "a:b"])
def test_no_address_is_refused(text):
    with pytest.raises(InputError, match="--metrics: expected PORT or HOST:PORT"):
        metrics_address(text)


def test_zones():
    assert str(zone_of("UTC")) == "UTC"
    with pytest.raises(InputError, match="got 'Mars'"):
        zone_of("Mars")


def test_the_unit_calls_this_command_again(monkeypatch):
    monkeypatch.setattr("sys.argv", ["/opt/venv/bin/linkfit", "record", "--unit", "--seed", "3"])
    assert unit_command() == ["/opt/venv/bin/linkfit", "record", "--seed", "3"]
