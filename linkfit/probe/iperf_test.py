"""One iperf3 test: ordered, watched, ended in time and within its bytes, and read back.

Each test runs in a child process of its own (`linkfit.probe.iperf_child` says why), by libiperf or,
where the library is missing, by the iperf3 program. The parent watches the clock and the counters
of the interface, and ends the child when either is used up.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from linkfit._checks import count, positive
from linkfit.errors import InputError

DEFAULT_PORT = 5201  # registered for this protocol's control connection by common use
_UDP_BLOCK_BYTES = 1400  # fits a packet of any usual path; the library's 64 kB are fragmented
_TCP_BLOCK_BYTES = 16 * 1024  # a block that has begun is sent whole, so it bounds the overshoot
_CONNECT_TIMEOUT_S = 5.0
_GRACE_S = 15.0  # handshakes and the exchange of results, beyond the test's own time
_END_S = 2.0  # for a child that was asked to write what it has
_ENDED_BY_US = "interrupt"  # what a client reports that was asked to end
_LOOK_S = 0.02  # how often the parent looks at clock and counters


@dataclass(frozen=True, slots=True, kw_only=True)
class TestOrder:
    """What one test shall do; it ends at its duration or its payload, whichever comes first.

    Parameters
    ----------
    host, port
        Of the iperf3 server.
    is_up : bool
        This machine sends (link up); else the server does (link down).
    duration_s : int
        [s]
    most_payload_bytes : int
        0: no limit but the duration. [bytes]
    udp_rate_bps : float or None
        Sends datagrams at this rate; None: TCP. [bit/s]
    connect_timeout_s, grace_s : float
        What connecting may take, and what handshakes and the exchange of results may take beyond
        the test's own time; then it is ended. [s]
    """

    __test__ = False  # for pytest: a value, not a test

    host: str
    port: int = DEFAULT_PORT
    is_up: bool = True
    duration_s: int = 10
    n_streams: int = 1
    most_payload_bytes: int = 0
    udp_rate_bps: float | None = None
    connect_timeout_s: float = _CONNECT_TIMEOUT_S
    grace_s: float = _GRACE_S

    def __post_init__(self) -> None:
        if not 1 <= count("port", self.port) <= 65535:
            raise InputError(f"port: expected 1 to 65535, got {self.port}")
        count("duration_s", self.duration_s)
        if count("n_streams", self.n_streams) > 128:
            raise InputError(f"n_streams: expected 1 to 128, got {self.n_streams}")
        count("most_payload_bytes", self.most_payload_bytes, least=0)
        positive("connect_timeout_s", self.connect_timeout_s)
        positive("grace_s", self.grace_s)
        if self.udp_rate_bps is not None:
            positive("udp_rate_bps", self.udp_rate_bps)

    @property
    def block_bytes(self) -> int:
        """Size of one write (TCP) or one datagram (UDP). [bytes]"""
        return _TCP_BLOCK_BYTES if self.udp_rate_bps is None else _UDP_BLOCK_BYTES


@dataclass(frozen=True, slots=True, kw_only=True)
class TestOutcome:
    """How a test ended: "done", or "budget", "deadline", "interrupted" when it was ended early.

    `report` is iperf3's JSON text, whole or of what was measured until then ("" if nothing);
    `error` is what it says went wrong ("" if nothing did).
    """

    __test__ = False

    order: TestOrder
    ended: str
    report: str
    error: str
    took_s: float
    by: str


def run_test(
    order: TestOrder,
    *,
    spent_bytes: Callable[[], float] | None = None,
    most_bytes: float | None = None,
    use_library: bool = True,
    python: str = sys.executable,
) -> TestOutcome:
    """Run one test to its end, its deadline or the end of its bytes.

    Parameters
    ----------
    order : TestOrder
        What to do.
    spent_bytes : callable, optional
        Bytes that crossed the link since the test began, looked at 50 times a second.
    most_bytes : float, optional
        The test is ended when `spent_bytes()` reaches this. [bytes]
    use_library : bool
        libiperf by the iperf3 package first; False: the iperf3 program.

    Returns
    -------
    outcome : TestOutcome

    Raises
    ------
    InputError
        If neither the library nor the program is installed.
    KeyboardInterrupt
        Never: Ctrl-C ends the test early and the outcome says "interrupted".
    """
    with tempfile.TemporaryDirectory(prefix="linkfit-") as folder:
        out = Path(folder) / "report.json"
        watch = _Watch(order, spent_bytes, most_bytes)
        if use_library:
            command = [python, "-m", "linkfit.probe.iperf_child", _spec(order), str(out)]
            outcome = watch.run(command, out, by="libiperf")
            problem = _no_library(outcome.report)
            if not problem:
                return outcome
            if outcome.ended != "done":
                return outcome
        program = shutil.which("iperf3")
        if program is None:
            raise InputError(
                "iperf3: expected the library libiperf or the program iperf3, got neither; "
                "install the package iperf3 of your system"
            )
        return watch.run([program, *_arguments(order)], out, by="iperf3 program")


class _Watch:
    """Starts a child, looks at clock and counters until it ends, and reads what it left."""

    def __init__(
        self,
        order: TestOrder,
        spent_bytes: Callable[[], float] | None,
        most_bytes: float | None,
    ) -> None:
        self.order, self.spent_bytes, self.most_bytes = order, spent_bytes, most_bytes

    def run(self, command: list[str], out: Path, *, by: str) -> TestOutcome:
        began_s = time.monotonic()
        spoken = out.with_name(out.name + ".spoken")
        with spoken.open("wb") as stdout:
            child = subprocess.Popen(  # noqa: S603  (this interpreter, or the program found)
                command, stdin=subprocess.DEVNULL, stdout=stdout, stderr=subprocess.DEVNULL,
                start_new_session=True, env={**os.environ, "LC_ALL": "C"},
            )  # fmt: skip
            try:
                ended = self._wait(child, began_s)
            except KeyboardInterrupt:
                ended = "interrupted"
            finally:
                _end(child)
        said = next((p.read_text(errors="replace") for p in (out, spoken) if _holds(p)), "")
        report = first_report(said)
        error = _error_of(report)
        if ended != "done" and error.startswith(_ENDED_BY_US):
            error = ""
        if ended == "done" and not report:
            error = error or f"the test ended with code {child.returncode} and no report"
        return TestOutcome(
            order=self.order, ended=ended, report=report, error=error,
            took_s=time.monotonic() - began_s, by=by,
        )  # fmt: skip

    def _wait(self, child: subprocess.Popen[bytes], began_s: float) -> str:
        """Why the child ended, or has to."""
        order = self.order
        latest_s = began_s + order.connect_timeout_s + order.duration_s + order.grace_s
        while True:
            try:
                child.wait(timeout=_LOOK_S)
            except subprocess.TimeoutExpired:
                pass
            else:
                return "done"
            if self._is_spent():
                return "budget"
            if time.monotonic() > latest_s:
                return "deadline"

    def _is_spent(self) -> bool:
        if self.spent_bytes is None or self.most_bytes is None:
            return False
        return self.spent_bytes() >= self.most_bytes


def _end(child: subprocess.Popen[bytes]) -> None:
    """End a child that still runs: it may write what it has, then it is killed with its group."""
    for sign, patience_s in ((signal.SIGTERM, _END_S), (signal.SIGKILL, None)):
        if child.poll() is not None:
            return
        os.killpg(child.pid, sign)
        try:
            child.wait(timeout=patience_s)
        except subprocess.TimeoutExpired:
            continue


def _spec(order: TestOrder) -> str:
    return json.dumps({**asdict(order), "block_bytes": order.block_bytes})


def _arguments(order: TestOrder) -> list[str]:
    """The order in options of the iperf3 program."""
    made = [
        "-c", order.host, "-p", str(order.port), "-J", "-i", "1", "-P", str(order.n_streams),
        "-l", str(order.block_bytes), "--get-server-output",
        "--connect-timeout", str(int(order.connect_timeout_s * 1000)),
    ]  # fmt: skip
    # the program takes a duration or a number of bytes; the watch ends what lasts too long
    made += (
        ["-n", str(order.most_payload_bytes)]
        if order.most_payload_bytes
        else ["-t", str(order.duration_s)]
    )
    if not order.is_up:
        made.append("-R")
    if order.udp_rate_bps is not None:
        made += ["-u", "-b", str(int(order.udp_rate_bps))]
    return made


def _holds(path: Path) -> bool:
    return path.exists() and path.stat().st_size > 0


def first_report(said: str) -> str:
    """The first whole report in what was printed, or all of it where none is whole.

    A test that is ended while libiperf writes its report makes it write a second one behind it:
    read together they would count every second twice.
    """
    text = said.lstrip()
    try:
        _, end = json.JSONDecoder().raw_decode(text)
    except ValueError:
        return said
    return text[:end]


def _parsed(report: str) -> dict[str, Any]:
    try:
        found = json.loads(report)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _error_of(report: str) -> str:
    """iperf3's own word on what went wrong; its exit code cannot be trusted (0 on 3.12)."""
    return str(_parsed(report).get("error", "")).removeprefix("error - ").strip()


def _no_library(report: str) -> str:
    return str(_parsed(report).get("linkfit_no_library", ""))
