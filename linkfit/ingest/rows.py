"""Chunks of a table to samples: throughput, round trips and transfers."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from linkfit.ingest.columns import DOWN_WORDS, UP_WORDS, Column
from linkfit.ingest.even_times import GrowingTimes
from linkfit.ingest.growing import GrowingColumn
from linkfit.ingest.latency_rows import LatencyRows
from linkfit.ingest.notes import Notes, refuse
from linkfit.ingest.plan import TablePlan
from linkfit.ingest.storage import is_constant, joined
from linkfit.ingest.times import to_seconds
from linkfit.ingest.trace import (
    LAYERS,
    TRANSPORTS,
    LatencySamples,
    ThroughputSamples,
    TransferSamples,
)

MAX_RATE_BPS = 1e12  # beyond any link this is for: a damaged cell, not a measurement
SPEED_TEST_S = 10.0  # the usual length of a speed test (common practice)
_LONGEST_POLL_S = 30.0  # rows further apart than this are single tests, not a series
_THROUGHPUT = ("duration_s", "bits", "saturating", "transport", "n_streams")
_TRANSFER = ("start_s", "size_bytes", "duration_s", "is_up")


class TableRows:
    """Takes the chunks of one table and turns them into samples by its plan."""

    def __init__(self, plan: TablePlan, notes: Notes, first_row: int, n_rows_expected: int) -> None:
        self._plan, self._notes = plan, notes
        self._rates: dict[str, dict[str, Any]] = {
            way: {
                "start_s": GrowingTimes(n_rows_expected),
                **{name: GrowingColumn(np.float64, n_columns) for name in _THROUGHPUT},
            }
            # in the end the columns of the way up are added to those of the way down
            for way, n_columns in (("down", 2 * n_rows_expected), ("up", n_rows_expected))
        }
        self._transfers = {name: GrowingColumn(np.float64, n_rows_expected) for name in _TRANSFER}
        self._latency = LatencyRows(plan, notes, n_rows_expected)
        self._first_row = first_row
        self._step_s = plan.options.step_s
        self._is_series = True  # rows follow each other; else they are single tests
        self._clock_s = 0.0  # where rows without a time begin
        self.peers: dict[str, None] = {}

    def add(self, chunk: pd.DataFrame) -> None:
        """Take the rows of `chunk`, whose columns are named by their place in the file."""
        if not len(chunk):
            return
        self._note_peers(chunk)
        start_s = self._times("start", chunk)
        if self._plan.is_transfers:
            self._add_transfers(chunk, start_s)
            return
        start_s, duration_s = self._spans(chunk, start_s)
        timed = np.isfinite(start_s) & np.isfinite(duration_s)
        self._notes.repair(
            "rows without time", int((~timed).sum()), "{n} rows have no time; left out"
        )
        busy = self._add_rates(chunk, start_s, duration_s, timed)
        # the round trip of a single test is taken before it, on an idle link
        self._latency.add(chunk, start_s, timed, busy if self._is_series else np.zeros(len(chunk)))

    def throughput(self) -> ThroughputSamples:
        """All throughput samples, down before up, each in the order of the file."""
        down, up = self._rates["down"], self._rates["up"]
        starts = [columns.pop("start_s").finish() for columns in (down, up)]
        n = sum(part.size for part in starts)
        columns = down if starts[0].size else up
        for name, column in columns.items() if starts[0].size else ():
            column.extend(up[name])
        ways = [
            np.broadcast_to(is_up, part.size)
            for is_up, part in zip(np.array([False, True]), starts, strict=True)
        ]
        return ThroughputSamples(
            start_s=joined(starts),
            **{name: column.finish() for name, column in columns.items()},
            is_up=joined(ways),
            layer=np.broadcast_to(LAYERS.index("goodput"), (n,)),
            source=np.broadcast_to(0, (n,)),
        )

    def latency(self) -> LatencySamples:
        """All round trips, in the order of the file."""
        return self._latency.finish()

    def transfers(self) -> TransferSamples:
        """All transfers, in the order of the file."""
        finished = {name: column.finish() for name, column in self._transfers.items()}
        n = finished["start_s"].size
        return TransferSamples(
            **finished, rtt_s=np.full(n, np.nan), source=np.broadcast_to(0, (n,))
        )

    def _times(self, role: str, chunk: pd.DataFrame) -> NDArray[np.float64] | None:
        column, plan = self._plan.find(role), self._plan
        kind = plan.start_kind if role == "start" else plan.end_kind
        if column is None or kind is None:
            return None
        cells = chunk[column.index]
        times_s = to_seconds(cells, kind, plan.options.timezone)
        no_time = np.isnan(times_s)
        if not no_time.any():
            return times_s
        for i in np.flatnonzero(no_time & cells.notna().to_numpy()).tolist():
            self._notes.problem(
                f"{self._notes.name}:{self._first_row + int(chunk.index[i])}:{column.index + 1}: "
                f"expected a time in column {column.name!r}, got {str(cells.iloc[i])[:40]!r}; "
                "correct or empty it"
            )
        return times_s

    def _numbers(self, chunk: pd.DataFrame, column: Column) -> NDArray[np.float64]:
        """Values of `column` in base units."""
        values = chunk[column.index].to_numpy(np.float64)
        return values if column.factor in (None, 1.0) else values * column.factor

    def _note_peers(self, chunk: pd.DataFrame) -> None:
        column = self._plan.find("peer")
        if column is not None:
            self.peers |= dict.fromkeys(str(v) for v in chunk[column.index].dropna().unique())

    def _spans(
        self, chunk: pd.DataFrame, start_s: NDArray[np.float64] | None
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Start and length of each row; a constant length is one stored value. [s]"""
        n = len(chunk)
        end_s = self._times("end", chunk)
        column = self._plan.find("duration")
        if column is not None:
            duration_s = self._numbers(chunk, column)
        elif start_s is not None and end_s is not None:
            duration_s = end_s - start_s
        else:
            if self._step_s is None:
                self._step_s = self._infer_step_s(start_s if start_s is not None else end_s)
            duration_s = np.broadcast_to(np.float64(self._step_s), (n,))
        if start_s is None and end_s is not None:
            start_s = end_s - duration_s
        if start_s is None:
            steps = np.where(np.isfinite(duration_s) & (duration_s > 0), duration_s, 0.0)
            ends_s = self._clock_s + np.cumsum(steps)
            start_s, self._clock_s = ends_s - steps, float(ends_s[-1])
        impossible = ~(duration_s > 0) & np.isfinite(duration_s)
        if impossible.any():
            self._notes.repair(
                "no length",
                int(impossible.sum()),
                "{n} rows last 0 s or less; left out",
            )
            duration_s = np.where(impossible, np.nan, duration_s)
        return start_s, duration_s

    def _infer_step_s(self, times_s: NDArray[np.float64] | None) -> float:
        """Length of a row where no column and no option says it: the usual distance of rows."""
        steps_s = np.empty(0)
        if times_s is not None:
            steps_s = np.diff(np.sort(times_s[np.isfinite(times_s)]))
        steps_s = steps_s[steps_s > 0]
        if times_s is not None and not steps_s.size and times_s.size > 1:
            refuse([f"{self._notes.name}: expected times that go on, got one time in all rows"])
        step_s = float(np.median(steps_s)) if steps_s.size else float("inf")
        step_s = round(step_s, 1) if round(step_s, 1) > 0 and np.isfinite(step_s) else step_s
        if times_s is None:
            refuse(
                [
                    f"{self._notes.name}: expected a time column or the length of a row, got "
                    "neither; say step_s=1.0 if there is one row a second"
                ]
            )
        if step_s <= _LONGEST_POLL_S or (self._plan.is_passive and np.isfinite(step_s)):
            self._notes.find(
                "length taken", 1, f"no column says how long a row lasts; taken as {step_s:g} s"
            )
            return step_s
        self._notes.find(
            "length taken",
            1,
            f"no column says how long a test lasts; taken as {SPEED_TEST_S:g} s; say step_s if not",
        )
        self._is_series = False
        return SPEED_TEST_S

    def _ways(self, chunk: pd.DataFrame, column: Column) -> NDArray[np.bool_]:
        """For each row, whether `column` measures the way up; broadcast if always the same."""
        told = self._plan.find("direction")
        n = len(chunk)
        if column.direction is not None or told is None:
            way = column.direction or self._plan.options.direction
            return np.broadcast_to(way == "up", (n,))
        words = chunk[told.index].astype("str").str.strip().str.lower()
        up = words.isin(UP_WORDS).to_numpy()
        unknown = ~up & ~words.isin(DOWN_WORDS).to_numpy()
        if unknown.any():
            listed = ", ".join(repr(w) for w in words[unknown].unique()[:5])
            refuse(
                [
                    f"{self._notes.name}: column {told.name!r}: expected up or down in each row, "
                    f"got {listed} in {int(unknown.sum())} rows"
                ]
            )
        return up

    def _add_rates(
        self,
        chunk: pd.DataFrame,
        start_s: NDArray[np.float64],
        duration_s: NDArray[np.float64],
        timed: NDArray[np.bool_],
    ) -> NDArray[np.float64]:
        """Take the rate and volume columns; returns the highest rate of each row. [bit/s]"""
        n = len(chunk)
        has_latency = bool(self._plan.having("rtt", "loss", "n_lost"))
        highest_bps = np.zeros(n) if has_latency else np.broadcast_to(0.0, (n,))
        for column in self._plan.having("rate", "volume"):
            values = self._numbers(chunk, column)
            rates_bps = values * 8.0 / duration_s if column.role == "volume" else values
            up = self._ways(chunk, column)
            good = self._usable_rates(rates_bps, timed, column)
            if has_latency:
                highest_bps = np.fmax(highest_bps, rates_bps)
            for way in ("up", "down"):
                if is_constant(up):
                    keep = good if up[0] == (way == "up") else np.broadcast_to(False, (n,))
                else:
                    keep = good & (up == (way == "up"))
                self._append_rates(way, chunk, keep, start_s, duration_s, rates_bps)
        return highest_bps

    def _append_rates(
        self,
        way: str,
        chunk: pd.DataFrame,
        keep: Any,
        start_s: NDArray[np.float64],
        duration_s: NDArray[np.float64],
        rates_bps: NDArray[np.float64],
    ) -> None:
        """Take the rows that the mask `keep` selects."""
        n = int(np.count_nonzero(keep))
        if n == 0:
            return
        keep = slice(None) if n == keep.size else keep  # the usual case: nothing is copied
        columns = self._rates[way]
        columns["start_s"].append(start_s[keep], n)
        columns["duration_s"].append(duration_s[keep], n)
        if not (is_constant(duration_s) and duration_s[0] == 1.0):
            rates_bps = rates_bps * duration_s
        columns["bits"].append(rates_bps[keep], n)
        transport, saturating = self._transport(chunk), self._saturating(chunk)
        columns["transport"].append(transport[keep] if np.ndim(transport) else transport, n)
        columns["saturating"].append(saturating[keep] if np.ndim(saturating) else saturating, n)
        streams = self._plan.find("n_streams")
        n_streams = 0 if streams is None else self._numbers(chunk, streams)[keep]
        columns["n_streams"].append(n_streams, n)

    def _usable_rates(
        self, rates_bps: NDArray[np.float64], timed: NDArray[np.bool_], column: Column
    ) -> NDArray[np.bool_]:
        """Which rows hold a measured rate: empty is not measured, 0 is an outage."""
        name, notes = column.name, self._notes
        if timed.all() and rates_bps.min() > 0 and rates_bps.max() <= MAX_RATE_BPS:
            return timed  # the usual case; NaN is neither
        missing = np.isnan(rates_bps) & timed
        notes.find(
            f"not measured: {name}",
            int(missing.sum()),
            f"{{n}} empty cells in column {name!r} are not measured, which is not zero; left out",
        )
        notes.find(
            f"zero rate: {name}",
            int((rates_bps == 0).sum()),
            f"{{n}} cells in column {name!r} are true zeros: kept as outages",
        )
        negative = timed & (rates_bps < 0)
        impossible = timed & (rates_bps > MAX_RATE_BPS)
        notes.repair(
            "negative rate",
            int(negative.sum()),
            "{n} rates are negative (a counter that started again?); left out as not measured",
        )
        notes.repair(
            "impossible rate",
            int(impossible.sum()),
            "{n} rates are above 1 Tbit/s; left out as not measured",
        )
        return timed & ~missing & ~negative & ~impossible

    def _transport(self, chunk: pd.DataFrame) -> Any:
        plan = self._plan
        if plan.options.transport is not None:
            return TRANSPORTS.index(plan.options.transport)
        if plan.is_passive:
            return TRANSPORTS.index("passive")
        column = plan.find("transport")
        if column is None:
            return TRANSPORTS.index("unknown")
        words = chunk[column.index].astype("str").str.strip().str.lower()
        known = {name: TRANSPORTS.index(name) for name in TRANSPORTS}
        return words.map(known).fillna(0).to_numpy(np.int8)

    def _saturating(self, chunk: pd.DataFrame) -> Any:
        plan = self._plan
        if plan.options.saturating is not None:
            return plan.options.saturating
        column = plan.find("saturating")
        if column is None:
            return not (plan.is_passive or plan.options.transport == "passive")
        return truth(chunk[column.index])

    def _add_transfers(self, chunk: pd.DataFrame, start_s: NDArray[np.float64] | None) -> None:
        size, duration = self._plan.find("size"), self._plan.find("duration")
        assert size is not None
        assert duration is not None
        sizes, durations_s = self._numbers(chunk, size), self._numbers(chunk, duration)
        if start_s is None:
            steps = np.where(durations_s > 0, durations_s, 0.0)
            ends_s = self._clock_s + np.cumsum(steps)
            start_s, self._clock_s = ends_s - steps, float(ends_s[-1])
        missing = np.isnan(sizes) | np.isnan(durations_s) | ~np.isfinite(start_s)
        wrong = ~missing & ~((sizes > 0) & (durations_s > 0))
        wrong |= ~missing & (np.isinf(sizes) | np.isinf(durations_s))
        self._notes.find(
            "not measured", int(missing.sum()), "{n} transfers are incomplete; left out"
        )
        self._notes.repair(
            "impossible transfer", int(wrong.sum()), "{n} transfers of no size or no time; left out"
        )
        keep = ~(missing | wrong)
        n = int(np.count_nonzero(keep))
        values = {
            "start_s": start_s, "size_bytes": sizes, "duration_s": durations_s,
            "is_up": self._ways(chunk, size),
        }  # fmt: skip
        for name, column in self._transfers.items():
            column.append(values[name][keep], n)


def truth(values: "pd.Series[Any]") -> NDArray[np.bool_]:
    """Which cells say yes: true, yes, y, 1."""
    words = values.astype("str").str.strip().str.lower()
    return words.isin(("true", "yes", "y", "1", "1.0")).to_numpy()
