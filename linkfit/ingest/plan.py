"""From the columns of a table to a plan: what each row becomes, and in which units."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from linkfit.ingest.columns import Assignment, Column
from linkfit.ingest.header import word_set
from linkfit.ingest.notes import Notes, refuse
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.sniff import NotAMeasurementError
from linkfit.ingest.times import TimeKind, tell_time_kind

# A round trip tells its own unit by its size: no link beyond this planet's has a median
# outside 0.5 ms to 3 s, so at most one unit fits a median outside the gap from 1 to 3.
_RTT_UNITS = ((5e-4, 1.0, "s", 1.0), (3.0, 3e3, "ms", 1e-3), (5e3, 5e6, "us", 1e-6))
# Columns that only a terminal's or modem's own log has: it counts what passes, it sends nothing.
LOG_WORDS = word_set("rsrp rsrq sinr rssi cqi snr obstructed obstruction state passive")
COUNTER_WORDS = word_set("rx tx passive")


@dataclass(frozen=True, slots=True, kw_only=True)
class TablePlan:
    """How rows become samples; every Column in it has a factor where its role needs one."""

    columns: tuple[Column, ...]
    start_kind: TimeKind | None
    end_kind: TimeKind | None
    is_passive: bool
    options: ReadOptions

    def find(self, role: str) -> Column | None:
        """The column of `role`, or None."""
        return next((c for c in self.columns if c.role == role), None)

    def having(self, *roles: str) -> tuple[Column, ...]:
        """All columns of these roles."""
        return tuple(c for c in self.columns if c.role in roles)

    @property
    def is_transfers(self) -> bool:
        """Whether each row is one real transfer: a size and how long it took."""
        return self.find("size") is not None and self.find("duration") is not None


def make_plan(
    assignment: Assignment,
    rows: Sequence[Sequence[str]],
    options: ReadOptions,
    notes: Notes,
    *,
    to_number: "NumberReader",
) -> TablePlan:
    """The plan for a table whose first values are `rows`.

    Raises
    ------
    TraceError
        With everything that neither the table nor the options say.
    """
    problems: list[str] = []
    columns = list(_chosen(assignment, notes))
    if not any(c.role in ("rate", "volume", "rtt", "loss", "n_lost", "size") for c in columns):
        raise NotAMeasurementError(_nothing_to_read(notes.name, assignment))
    columns = [
        _with_unit(column, _cells(rows, column.index), notes, problems, to_number)
        for column in columns
    ]
    columns = _spread_like_rtt(columns)
    plan = TablePlan(
        columns=tuple(columns),
        start_kind=_time_kind("start", columns, rows, notes, problems),
        end_kind=_time_kind("end", columns, rows, notes, problems),
        is_passive=_is_passive(assignment, columns, options, notes),
        options=options,
    )
    _check_direction(plan, problems, notes)
    refuse(problems)
    if plan.start_kind and plan.start_kind.is_clock and not plan.start_kind.has_zone:
        notes.find("times without zone", 1, f"times carry no zone; taken as {options.timezone}")
    return plan


class NumberReader:
    """Text cells to numbers with the table's decimal sign."""

    def __init__(self, decimal: str) -> None:
        self._decimal = decimal

    def __call__(self, cell: str) -> float:
        """The number in `cell`; NaN if it is none."""
        text = cell.strip()
        if self._decimal != ".":
            if "." in text:
                return float("nan")
            text = text.replace(self._decimal, ".")
        try:
            return float(text) if "_" not in text else float("nan")
        except ValueError:
            return float("nan")


def _cells(rows: Sequence[Sequence[str]], index: int) -> list[str]:
    return [row[index].strip() for row in rows if index < len(row)]


def _chosen(assignment: Assignment, notes: Notes) -> list[Column]:
    """The columns that are read: beside transfers, rates are the same thing said again."""
    # the least and the longest round trip of a burst have no place in a sample
    columns = [c for c in assignment.columns if c.role not in ("rtt_best", "rtt_worst")]
    for kind, text in assignment.notes:
        notes.find(kind, 1, text)
    roles = {c.role for c in columns}
    if {"size", "duration"} <= roles:
        again = [c for c in columns if c.role in ("rate", "volume") and not c.given]
        columns = [c for c in columns if c not in again]
        if again:
            listed = ", ".join(repr(c.name) for c in again)
            notes.find(
                "column left out", len(again), f"{listed} left out: size over duration says it"
            )
    return columns


def _nothing_to_read(name: str, assignment: Assignment) -> str:
    found = ", ".join(f"{c.name!r} as {c.role}" for c in assignment.columns) or "none of these"
    return (
        f"{name}: expected a column of rates, round trips or transfer sizes, got {found}; name "
        "them, for example columns={'NAME': 'rate up'}, units={'NAME': 'Mbit/s'}"
    )


def _with_unit(
    column: Column,
    cells: Sequence[str],
    notes: Notes,
    problems: list[str],
    to_number: NumberReader,
) -> Column:
    """`column` with a factor: stated, told by its numbers if only one unit fits, or asked for."""
    where = f"{notes.name}: column {column.name!r}"
    if column.factor is not None:
        return column
    if column.role in ("rate", "size", "volume"):
        example = "'Mbit/s'" if column.role == "rate" else "'MB' (bytes) or 'kbit' (bits)"
        problems.append(
            f"{where}: expected a unit in its name, got none; say it with "
            f"units={{{column.name!r}: {example}}}"
        )
        return column
    if column.role == "duration":
        notes.find(
            f"unit taken: {column.name}",
            1,
            f"column {column.name!r} states no unit; taken as seconds",
        )
        return replace(column, unit="s", factor=1.0)
    if column.role == "rtt":
        return _rtt_unit(column, cells, notes, problems, to_number)
    return column  # a share without unit is decided by all its values, not by the first


def _spread_like_rtt(columns: Sequence[Column]) -> list[Column]:
    """The spread of round trips in their own unit, where its column states none."""
    rtt = next((c for c in columns if c.role == "rtt"), None)
    return [
        replace(c, unit=rtt.unit, factor=rtt.factor)
        if rtt is not None and c.role == "rtt_spread" and c.factor is None
        else c
        for c in columns
    ]


def _rtt_unit(
    column: Column,
    cells: Sequence[str],
    notes: Notes,
    problems: list[str],
    to_number: NumberReader,
) -> Column:
    numbers = np.array([to_number(cell) for cell in cells])
    numbers = numbers[np.isfinite(numbers) & (numbers > 0)]
    middle = float(np.median(numbers)) if numbers.size else float("nan")
    for low, high, unit, factor in _RTT_UNITS:
        if low <= middle < high:
            notes.find(
                f"unit taken: {column.name}",
                1,
                f"column {column.name!r} states no unit; its median {middle:g} can only be {unit}",
            )
            return replace(column, unit=unit, factor=factor)
    problems.append(
        f"{notes.name}: column {column.name!r}: expected a unit in its name, got a median of "
        f"{middle:g}; say it with units={{{column.name!r}: 'ms'}}"
    )
    return column


def _time_kind(
    role: str,
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    notes: Notes,
    problems: list[str],
) -> TimeKind | None:
    column = next((c for c in columns if c.role == role), None)
    if column is None:
        return None
    cells = _cells(rows, column.index)
    kind = tell_time_kind(cells, column.unit)
    if kind is None and rows:
        problems.append(
            f"{notes.name}: column {column.name!r}: expected times as 2026-01-31T12:00:00Z or "
            f"seconds since 1970, got {cells[0] if cells else ''!r}"
        )
    return kind


def _is_passive(
    assignment: Assignment, columns: Sequence[Column], options: ReadOptions, notes: Notes
) -> bool:
    """Whether the rates are what was asked for: the option, else the company they keep."""
    if options.transport is not None or options.saturating is not None:
        return options.transport == "passive"
    rates = [c for c in columns if c.role in ("rate", "volume")]
    signs = sorted(assignment.all_words & LOG_WORDS)
    counted = [c.name for c in rates if COUNTER_WORDS & set(c.name.lower().split("_"))]
    if not rates or not (signs or counted):
        return False
    why = f"columns such as {signs[0]!r}" if signs else f"counters such as {counted[0]!r}"
    notes.find(
        "passive",
        1,
        f"a device's own log ({why}): its rates are what was asked for, a lower bound on what "
        "the link can carry; say saturating=True if the link was kept full",
    )
    return True


def _check_direction(plan: TablePlan, problems: list[str], notes: Notes) -> None:
    unsaid = [c for c in plan.having("rate", "size", "volume") if c.direction is None]
    if unsaid and plan.find("direction") is None and plan.options.direction is None:
        listed = ", ".join(repr(c.name) for c in unsaid)
        problems.append(
            f"{notes.name}: expected to know which way {listed} went, got neither up nor down; "
            "say direction='up' (from the server towards the internet) or 'down'"
        )
