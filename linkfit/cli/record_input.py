"""What a person types for the recorder, as the plan that `linkfit.probe` takes."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from linkfit.cli.server_input import problem_reader, server_and_port
from linkfit.errors import ConfigError, InputError
from linkfit.units import parse_duration_s, parse_size_bytes

if TYPE_CHECKING:
    from collections.abc import Callable

    from linkfit.probe.recorder_loop import RecordPlan
    from linkfit.probe.recorder_tests import TestPlan

_LOOPBACK = "127.0.0.1"
_LEAST_STORE_BYTES = 1e6
_LEAST_PROBE_S = 1.0


def record_plan(
    *, store: str, interface: str | None, probe: str | None, metrics: str | None,
    stop_after: str | None, **texts: Any,
) -> "RecordPlan":  # fmt: skip
    """The plan of a recorder from options.

    Raises
    ------
    ConfigError
        With everything that is wrong.
    """
    from linkfit.probe.interface import interface_towards
    from linkfit.probe.recorder_loop import RecordPlan

    problems: list[str] = []
    read = problem_reader(problems)
    probed: Any = None if probe is None else read(_host_and_port, probe, "--probe")
    every_s = read(parse_duration_s, texts["probe_every"], where="--probe-every")
    if every_s is not None and every_s < _LEAST_PROBE_S:
        problems.append(f"--probe-every: expected at least 1 s, got {texts['probe_every']!r}")
    most_bytes = read(parse_size_bytes, texts["most_size"], where="--most-size")
    if most_bytes is not None and most_bytes < _LEAST_STORE_BYTES:
        problems.append(f"--most-size: expected at least 1 MB, got {texts['most_size']!r}")
    most_s = (
        None if stop_after is None else read(parse_duration_s, stop_after, where="--stop-after")
    )
    listen = None if metrics is None else read(metrics_address, metrics)
    tests = _tests(read, texts)
    if interface is None and (tests is not None or probed is not None):
        towards = tests.host if tests is not None else probed[0]
        interface = read(interface_towards, towards)
    elif interface is None:
        problems.append("--interface: expected a name, --server or --probe, got none; name one")
    if problems:
        raise ConfigError("options", problems)
    return RecordPlan(
        store=Path(store), interface=str(interface), probe=probed, probe_interval_s=every_s,
        tests=tests, metrics=listen, most_bytes=most_bytes, most_s=most_s,
    )  # fmt: skip


def _tests(read: "Callable[..., Any]", texts: dict[str, Any]) -> "TestPlan | None":
    from zoneinfo import ZoneInfo

    from linkfit.probe.iperf_test import DEFAULT_PORT
    from linkfit.probe.recorder_tests import TestPlan

    daily_bytes = read(parse_size_bytes, texts["daily_budget"], where="--daily-budget")
    cycle_bytes = read(parse_size_bytes, texts["monthly_budget"], where="--monthly-budget")
    zone = read(zone_of, texts["timezone"])
    if texts["server"] is None:
        return None
    place = read(server_and_port, texts["server"], DEFAULT_PORT)
    if place is None or None in (daily_bytes, cycle_bytes, zone):
        return None
    return TestPlan(
        host=place[0], port=place[1], seconds=texts["seconds"], daily_bytes=daily_bytes,
        cycle_bytes=cycle_bytes, cycle_day=texts["cycle_day"], zone=ZoneInfo(texts["timezone"]),
        seed=texts["seed"],
    )  # fmt: skip


def zone_of(name: str) -> Any:
    """The time zone called `name`.

    Raises
    ------
    InputError
        If there is none.
    """
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError(
            f"--timezone: expected a name such as 'Europe/Lisbon' or 'UTC', got {name!r}"
        ) from error


def _host_and_port(text: str, where: str) -> tuple[str, int | None]:
    """Host, and the port if one is named."""
    try:
        host, port = server_and_port(text, 0xFFFF)
        _, again = server_and_port(text, 1)
    except InputError as error:
        raise InputError(str(error).replace("--server", where)) from error
    return host, port if port == again else None


def metrics_address(text: str) -> tuple[str, int]:
    """Where to listen, of ``PORT`` or ``HOST:PORT``; this machine alone where no host is named.

    Raises
    ------
    InputError
        If it is neither.
    """
    if text.isdigit() and 0 <= int(text) <= 65535:
        return _LOOPBACK, int(text)
    try:
        host, port = _host_and_port(text, "--metrics")
    except InputError:
        host, port = "", None
    if not host or port is None:
        raise InputError(f"--metrics: expected PORT or HOST:PORT, got {text!r}; write 9433")
    return host, port


def unit_command() -> list[str]:
    """The command that runs, without ``--unit``, as a service manager must call it."""
    program = Path(sys.argv[0]).resolve()
    return [str(program), *(word for word in sys.argv[1:] if word != "--unit")]
