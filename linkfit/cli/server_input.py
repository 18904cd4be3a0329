"""What a person types for a session of tests, as the values that `linkfit.probe` takes."""

import re
import sys
from typing import TYPE_CHECKING, Any

from linkfit.errors import ConfigError, InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from linkfit.probe.session import Session
    from linkfit.probe.session_plan import SessionPlan

_INTERRUPTED = 130  # what a shell tells of a program that SIGINT ended: 128 + 2
_SERVER = re.compile(r"(?:\[(?P<six>[^\]]+)\]|(?P<host>[^:\[\]]+))(?::(?P<port>\d{1,5}))?")


def server_and_port(text: str, default_port: int) -> tuple[str, int]:
    """Host and port of ``HOST``, ``HOST:PORT``, ``[IPV6]`` or ``[IPV6]:PORT``.

    Raises
    ------
    InputError
        If the text is none of these.
    """
    bare_six = text.count(":") > 1 and not text.startswith("[")
    found = None if bare_six else _SERVER.fullmatch(text.strip())
    if bare_six:
        return text.strip(), default_port
    port = int(found["port"] or default_port) if found else 0
    if found is None or not 1 <= port <= 65535:
        raise InputError(
            f"--server: expected HOST or HOST:PORT with a port from 1 to 65535, got {text!r}"
        )
    return found["six"] or found["host"], port


def problem_reader(problems: list[str]) -> "Callable[..., Any]":
    """A function that calls another and adds what was wrong to `problems`, to say all at once.

    It returns None in place of what could not be read.
    """

    def read(take: "Callable[..., Any]", *given: object, **named: object) -> Any:
        try:
            return take(*given, **named)
        except InputError as error:
            problems.append(str(error))
            return None

    return read


def session_plan(
    *,
    server: str,
    budget: str,
    way: str,
    seconds: int,
    rounds: int,
    streams: tuple[int, ...],
    udp: str | None,
    probe_port: int | None,
    interface: str | None,
    wan_address: str | None = None,
    nat_timer_up_to: str | None = None,
) -> "SessionPlan":
    """The plan of a session from options.

    Raises
    ------
    ConfigError
        With everything that is wrong.
    """
    from linkfit.addresses import parse_address
    from linkfit.probe.iperf_test import DEFAULT_PORT
    from linkfit.probe.session_plan import WAYS, SessionPlan
    from linkfit.units import parse_duration_s, parse_rate_bps, parse_size_bytes

    problems: list[str] = []

    read = problem_reader(problems)
    place = read(server_and_port, server, DEFAULT_PORT)
    budget_bytes = read(parse_size_bytes, budget, where="--budget")
    udp_bps = None if udp is None else read(parse_rate_bps, udp, where="--udp")
    timer_s = None
    if nat_timer_up_to is not None:
        timer_s = read(parse_duration_s, nat_timer_up_to, where="--nat-timer-up-to")
    if wan_address is not None:
        read(parse_address, wan_address, "--wan-address")
    if way not in WAYS:
        problems.append(f"--way: expected {', '.join(WAYS)}, got {way!r}")
    wrong = [n for n in streams if not 1 <= n <= 128]
    if wrong:
        problems.append(f"--streams: expected 1 to 128, got {wrong[0]}")
    if problems or not isinstance(place, tuple):
        raise ConfigError("options", problems)
    host, port = place
    return SessionPlan(
        host=host, port=port, budget_bytes=budget_bytes, ways=way, seconds=seconds,
        n_rounds=rounds, n_streams=streams, udp_rate_bps=udp_bps, probe_port=probe_port,
        interface=interface, wan_address=wan_address, nat_timer_s=timer_s,
    )  # fmt: skip


def end_of(session: "Session") -> None:
    """End the command as its session ended: quietly, where a test gave a figure.

    Raises
    ------
    InputError
        If none did: says what was in the way, and what to do.
    """
    if session.ended == "interrupted":
        sys.exit(_INTERRUPTED)
    if not session.has_figures:
        plan, fault = session.plan, session.fault
        if not fault and session.ended == "budget":
            fault = "the budget left no room for a test; allow more"
        raise InputError(
            f"server {plan.host} port {plan.port}: expected a test with a figure, got none: "
            f"{fault or 'see the table'}"
        )
