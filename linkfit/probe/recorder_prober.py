"""One round trip at a time, beside the recorder: by the system's ping, or by TCP to a port."""

import math
import os
import re
import shutil
import subprocess
import threading
import time
from collections.abc import Callable

from linkfit.errors import InputError
from linkfit.probe.round_trips import connect_once

_TIME = re.compile(r"time[=<]([\d.]+)\s*ms")
_PATIENCE_S = 5


def ping_once(host: str) -> float:
    """The round trip of one echo of the system's ping; inf if no answer came. [s]"""
    program = shutil.which("ping")
    if program is None:
        raise InputError("probe: expected the program ping, got none; name HOST:PORT to use TCP")
    done = subprocess.run(  # noqa: S603  (the program of the system)
        [program, "-n", "-c", "1", "-W", str(_PATIENCE_S), host],
        capture_output=True, text=True, errors="replace", check=False,
        timeout=_PATIENCE_S + 5, env={**os.environ, "LC_ALL": "C"},
    )  # fmt: skip
    found = _TIME.search(done.stdout)
    rtt_s = float(found[1]) * 1e-3 if found else math.inf
    return rtt_s if rtt_s > 0 else math.inf


def round_trip_s(host: str, port: int | None) -> float:
    """One round trip: to a TCP port, or by ping where `port` is None; inf if nothing came. [s]"""
    try:
        if port is None:
            return ping_once(host)
        connection = connect_once(host, port)
    except (
        OSError,
        subprocess.TimeoutExpired,
    ):  # no route, no name for the moment: as good as lost
        return math.inf
    return math.inf if connection is None or connection.rtt_s <= 0 else connection.rtt_s


class Prober:
    """Hands (time, round trip or inf) to `found` every `interval_s`, from a thread of its own."""

    def __init__(
        self,
        probe: Callable[[], float],
        found: Callable[[float, float], None],
        *,
        interval_s: float,
        now_s: Callable[[], float] = time.time,
    ) -> None:
        self._probe, self._found, self._interval_s, self._now_s = probe, found, interval_s, now_s
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        """Begin to probe."""
        self._thread.start()

    def stop(self) -> None:
        """No further probe; one that is on its way is not waited for."""
        self._ended.set()

    def _run(self) -> None:
        while not self._ended.wait(self._interval_s):
            at_s = self._now_s()
            self._found(at_s, self._probe())
