"""A session kept as files that `read_trace` reads: a report for each test, one table of probes."""

import csv
import math
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

from linkfit.errors import InputError
from linkfit.probe.round_trips import RoundTrip
from linkfit.probe.session import TestDone

ROUND_TRIPS = "round-trips.csv"
_HEADER = ("time", "rtt_ms", "probes_sent", "probes_lost", "loaded")


class SessionFolder:
    """Writes what a session finds into one folder, each file whole or not at all.

    Raises
    ------
    InputError
        If the folder holds something already: sessions are never mixed unseen.
    """

    def __init__(self, folder: Path) -> None:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise InputError(f"{folder}: expected a new or an empty folder; name another one")
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(
                f"{folder}: expected a folder that can be made, got "
                f"{error.strerror!r}; name another"
            ) from error
        self.folder = folder
        self._trips: list[RoundTrip] = []
        self._n_tests = 0

    def test(self, done: TestDone) -> None:
        """Keep iperf3's own report of one test."""
        if not done.outcome.report:
            return
        self._n_tests += 1
        way = "up" if done.outcome.order.is_up else "down"
        _write(self.folder / f"test-{self._n_tests:03}-{way}.json", done.outcome.report)

    def round_trips(self, found: tuple[RoundTrip, ...]) -> None:
        """Keep probes, one row each."""
        self._trips += found
        if self._trips:
            _write(self.folder / ROUND_TRIPS, _table(self._trips))


def _table(trips: list[RoundTrip]) -> str:
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_HEADER)
    for trip in sorted(trips, key=lambda trip: trip.time_s):
        is_lost = math.isinf(trip.rtt_s)
        at = datetime.fromtimestamp(trip.time_s, tz=UTC).isoformat(timespec="milliseconds")
        rtt = "" if is_lost else f"{trip.rtt_s * 1e3:.3f}"
        writer.writerow((at, rtt, 1, int(is_lost), str(trip.loaded).lower()))
    return text.getvalue()


def _write(path: Path, text: str) -> None:
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text)
        part.replace(path)
    except OSError as error:
        raise InputError(
            f"{path}: expected room to keep what was measured, got {error.strerror!r}; make room "
            "or name another folder; what was kept before is whole"
        ) from error
