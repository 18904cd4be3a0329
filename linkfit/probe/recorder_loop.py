"""Running the recorder: on the whole second, until a signal asks it to end."""

import signal
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

from linkfit.probe.interface import read_counters
from linkfit.probe.notify import notify
from linkfit.probe.openmetrics import MetricsServer
from linkfit.probe.recorder import Clocks, Recorder, boot_id, look_at
from linkfit.probe.recorder_prober import Prober, round_trip_s
from linkfit.probe.recorder_tests import Tester, TestPlan
from linkfit.probe.store import Store

_PAST_THE_SECOND_S = 0.02
_WATCHDOG_EACH = 10  # ticks


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordPlan:
    """What to record.

    Parameters
    ----------
    store : Path
        The file.
    interface : str
        Whose counters.
    probe : (host, port or None) or None
        Whom to ask for round trips; without a port by ping.
    probe_interval_s : float
        [s]
    tests : TestPlan or None
        Active tests.
    metrics : (host, port) or None
        Where to listen for who collects metrics.
    most_bytes : float
        Size of the store. [bytes]
    flush_s : int
        From one commit to the next. [s]
    most_s : float or None
        End by itself after so long; None: never. [s]
    """

    store: Path
    interface: str
    probe: tuple[str, int | None] | None = None
    probe_interval_s: float = 60.0
    tests: TestPlan | None = None
    metrics: tuple[str, int] | None = None
    most_bytes: float = 200e6
    flush_s: int = 10
    most_s: float | None = None


@dataclass(slots=True)
class _Ending:
    """Set by SIGTERM and SIGINT."""

    asked: threading.Event = field(default_factory=threading.Event)

    def catch(self) -> None:
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: self.asked.set())


def record(plan: RecordPlan, *, say: Callable[[str], None] = lambda _text: None) -> None:
    """Record until SIGTERM, SIGINT or the end of `plan.most_s`.

    Raises
    ------
    InputError
        If the interface is none, or another recorder holds the store.
    ArtifactError
        If the store cannot be used.
    """
    read_counters(plan.interface)  # a wrong name is told at once; one that goes later is a gap
    ending = _Ending()
    ending.catch()
    # CLOCK_BOOTTIME goes on through suspend and is never set, see clock_gettime(2)
    clocks = Clocks(wall_s=time.time, running_s=lambda: time.clock_gettime(time.CLOCK_BOOTTIME))
    with ExitStack() as undo:
        store = Store(plan.store, most_bytes=plan.most_bytes)
        undo.callback(store.close)
        recorder = Recorder(
            store, plan.interface, lambda: look_at(plan.interface, clocks),
            boot=boot_id(), flush_s=plan.flush_s, say=say,
        )  # fmt: skip
        if plan.tests is not None:
            recorder.tester = Tester(plan.tests, plan.interface, recorder.keep_test)
        ending.asked.wait(_to_next_second_s(clocks))
        recorder.begin()
        if plan.probe is not None:
            host, port = plan.probe
            prober = Prober(
                lambda: round_trip_s(host, port), recorder.keep_round_trip,
                interval_s=plan.probe_interval_s,
            )  # fmt: skip
            prober.start()
            undo.callback(prober.stop)
        if plan.metrics is not None:
            server = MetricsServer(*plan.metrics, recorder.figures)
            undo.callback(server.close)
            say(f"metrics at http://{plan.metrics[0]}:{server.port}/metrics")
        notify("READY=1\nSTATUS=recording")
        _loop(recorder, ending.asked, clocks, plan.most_s)
        notify("STOPPING=1")
        recorder.end()


def _loop(recorder: Recorder, asked: threading.Event, clocks: Clocks, most_s: float | None) -> None:
    """Tick just after each whole second of the wall clock."""
    began_s, n_ticks = clocks.running_s(), 0
    while not asked.wait(_to_next_second_s(clocks)):
        recorder.tick()
        n_ticks += 1
        if n_ticks % _WATCHDOG_EACH == 0:
            notify("WATCHDOG=1")
        if most_s is not None and clocks.running_s() - began_s >= most_s:
            return


def _to_next_second_s(clocks: Clocks) -> float:
    """Until just after the next whole second of the wall clock. [s]"""
    return 1.0 + _PAST_THE_SECOND_S - clocks.wall_s() % 1.0
