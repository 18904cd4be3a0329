"""What a person types for a session of tests, as the values that `linkfit.probe` takes."""

import re
from typing import TYPE_CHECKING

from linkfit.errors import ConfigError, InputError

if TYPE_CHECKING:
    from linkfit.probe.session import SessionPlan

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
) -> "SessionPlan":
    """The plan of a session from options.

    Raises
    ------
    ConfigError
        With everything that is wrong.
    """
    from linkfit.probe.iperf_test import DEFAULT_PORT
    from linkfit.probe.session import WAYS, SessionPlan
    from linkfit.units import parse_rate_bps, parse_size_bytes

    problems: list[str] = []

    def read(take: object, *given: object, **named: object) -> object:
        try:
            return take(*given, **named)  # type: ignore[operator]
        except InputError as error:
            problems.append(str(error))
            return None

    place = read(server_and_port, server, DEFAULT_PORT)
    budget_bytes = read(parse_size_bytes, budget, where="--budget")
    udp_bps = None if udp is None else read(parse_rate_bps, udp, where="--udp")
    if way not in WAYS:
        problems.append(f"--way: expected {', '.join(WAYS)}, got {way!r}")
    wrong = [n for n in streams if not 1 <= n <= 128]
    if wrong:
        problems.append(f"--streams: expected 1 to 128, got {wrong[0]}")
    if problems or not isinstance(place, tuple):
        raise ConfigError("options", problems)
    host, port = place
    return SessionPlan(
        host=host, port=port, budget_bytes=budget_bytes, ways=way, seconds=seconds,  # type: ignore[arg-type]
        n_rounds=rounds, n_streams=streams, udp_rate_bps=udp_bps, probe_port=probe_port,  # type: ignore[arg-type]
        interface=interface,
    )  # fmt: skip
