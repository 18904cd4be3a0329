"""Which column of a table holds what: from the caller's words, else from the header's."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from linkfit.errors import InputError, TraceError
from linkfit.ingest.header import Header, parse_header, unit_factor, word_set
from linkfit.ingest.options import ReadOptions

# role -> the quantity its unit measures; None: text or a bare number
ROLES: Mapping[str, str | None] = {
    "start": None, "end": None, "duration": "time", "rate": "rate", "size": "size",
    "volume": "size", "rtt": "time", "rtt_best": "time", "rtt_worst": "time",
    "rtt_spread": "time", "loss": "share", "n_probes": None, "n_lost": None, "direction": None,
    "peer": None, "transport": None, "n_streams": None, "saturating": None, "loaded": None,
}  # fmt: skip
TEXT_ROLES = ("start", "end", "direction", "peer", "transport", "saturating", "loaded")
MEASURING_ROLES = ("rate", "size", "volume", "rtt", "loss", "n_lost")
UP_WORDS = word_set(
    "up upload uploads uplink upstream ul tx sent send transmit transmitted uploaded"
)
DOWN_WORDS = word_set(
    "down download downloads downlink downstream dl rx received receive downloaded"
)
_RATE_WORDS = word_set("rate throughput goodput bandwidth speed capacity")
_NEVER_RATE = word_set(
    "drop drops dropped loss lost error errors retransmits retries gps snr index state strength "
    "priority jitter latency ping rtt"
)
_RTT_WORDS = word_set("rtt ping latency delay")
_END_WORDS = word_set("end stop finish ended finished")
_TIME_WORDS = word_set("timestamp time datetime date ts t epoch start begin started")
_DURATION_WORDS = word_set("duration elapsed took")
_DURATION_PAIRS = ("delivery", "transfer", "response", "download", "upload")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column that is read: place (from 0), role, direction and factor to base units.

    `factor` is None where neither the header nor the caller says a unit.
    """

    index: int
    name: str
    role: str
    direction: str | None = None
    unit: str | None = None
    factor: float | None = None
    given: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
    """The columns to read and what was decided about them, for the findings."""

    columns: tuple[Column, ...]
    notes: tuple[tuple[str, str], ...] = ()  # kind of finding, text
    all_words: frozenset[str] = frozenset()

    def find(self, role: str, direction: str | None = None) -> Column | None:
        """The column of `role` (and `direction`, if given), or None."""
        for column in self.columns:
            if column.role == role and (direction is None or column.direction == direction):
                return column
        return None

    def having(self, *roles: str) -> tuple[Column, ...]:
        """All columns of these roles."""
        return tuple(column for column in self.columns if column.role in roles)


def assign_columns(
    names: Sequence[str],
    rows: Sequence[Sequence[str]],
    options: ReadOptions,
    where: str,
    *,
    is_number: Callable[[str], bool],
) -> Assignment:
    """Roles and units of the columns called `names`, `rows` being the first values.

    Raises
    ------
    TraceError
        With every column that cannot be told apart, has no unit or an unknown role.
    """
    problems: list[str] = []
    headers = [parse_header(name) for name in names]
    given = _given_roles(names, options, where, problems)
    columns: list[Column] = []
    only_given = any(role in MEASURING_ROLES for role, _ in given.values())
    for index, header in enumerate(headers):
        cells = [row[index].strip() for row in rows if index < len(row)]
        filled = [cell for cell in cells if cell]
        # a damaged cell is named later; a column of words is another kind of column
        numeric = sum(map(is_number, filled)) >= len(filled) / 2
        if index in given:
            role, direction = given[index]
            columns.append(_column(index, header, role, direction, options, given=True))
            continue
        told = _told_role(header)
        if told is None or (only_given and told[0] not in TEXT_ROLES):
            continue
        role, direction = told
        if role not in TEXT_ROLES and not numeric:
            continue
        columns.append(_column(index, header, role, direction, options))
    with_factors = [_with_factor(column, where, problems) for column in columns]
    kept, notes = _one_a_role(with_factors, where, problems)
    if problems:
        raise TraceError("\n".join(problems))
    words = frozenset(word for header in headers for word in header.words)
    return Assignment(columns=tuple(kept), notes=tuple(notes), all_words=words)


def _given_roles(
    names: Sequence[str], options: ReadOptions, where: str, problems: list[str]
) -> dict[int, tuple[str, str | None]]:
    """Roles the caller gave, by place; a key is a header name or a position from 1."""
    found: dict[int, tuple[str, str | None]] = {}
    for key, text in options.columns.items():
        index = column_index(key, names)
        if index is None:
            known = ", ".join(names) if names and names[0] else f"1 to {len(names)}"
            problems.append(f"{where}: columns: expected one of {known}, got {key!r}")
            continue
        words = str(text).replace("_up", " up").replace("_down", " down").split()
        directions = [word for word in words if word in ("up", "down")]
        role = "_".join(word for word in words if word not in directions)
        if role not in ROLES:
            problems.append(
                f"{where}: columns: expected one of {', '.join(ROLES)} for {key!r}, got {text!r}"
            )
            continue
        found[index] = (role, directions[0] if directions else None)
    return found


def names_measurements(names: Sequence[str]) -> bool:
    """Whether one of several header names says rates, round trips, losses or sizes."""
    told = [_told_role(parse_header(name)) for name in names]
    return len(names) > 1 and any(t is not None and t[0] in MEASURING_ROLES for t in told)


def column_index(key: str | int, names: Sequence[str]) -> int | None:
    """Place (from 0) of the column that `key` names or counts from 1, or None."""
    if key in names:
        return list(names).index(str(key))
    if str(key).isdecimal() and 1 <= int(key) <= len(names):
        return int(key) - 1
    return None


def _told_role(header: Header) -> tuple[str, str | None] | None:
    """Role and direction that the words of a header tell, or None."""
    words, unit = set(header.words), header.unit
    for tell in (_told_text, _told_loss, _told_time, _told_rtt, _told_amount):
        told = tell(words, unit)
        if told is not None:
            return told
    return None


def _direction(words: set[str]) -> str | None:
    up, down = bool(words & UP_WORDS), bool(words & DOWN_WORDS)
    return None if up == down else ("up" if up else "down")


def _told_text(words: set[str], _unit: str | None) -> tuple[str, str | None] | None:
    if "direction" in words or words == {"dir"}:
        return "direction", None
    if words & {"server", "target", "peer"} or words == {"host"}:
        return "peer", None
    if words in ({"transport"}, {"transport", "protocol"}, {"protocol"}):
        return "transport", None
    if "streams" in words:
        return "n_streams", None
    for name in ("saturating", "loaded"):
        if name in words:
            return name, None
    return None


def _told_loss(words: set[str], _unit: str | None) -> tuple[str, str | None] | None:
    if words & {"packets", "probes", "pings"}:
        if (
            words & {"sent", "send", "transmitted"}
            or words == {"probes"}
            or words == {"n", "probes"}
        ):
            return "n_probes", None
        if "lost" in words:
            return "n_lost", None
    if words == {"n", "lost"}:
        return "n_lost", None
    if "loss" in words or {"drop", "rate"} <= words:
        return "loss", None
    return None


def _told_time(words: set[str], _unit: str | None) -> tuple[str, str | None] | None:
    if words & _DURATION_WORDS:
        return "duration", None
    if "time" in words and words & set(_DURATION_PAIRS):
        return "duration", None
    if words & _END_WORDS and len(words) <= 3:
        return "end", None
    if words & _TIME_WORDS and not words & (UP_WORDS | DOWN_WORDS | _RTT_WORDS):
        return "start", None
    return None


def _told_rtt(words: set[str], unit: str | None) -> tuple[str, str | None] | None:
    if not words & _RTT_WORDS or words & {"drop", "loss", "lost", "load"}:
        return None
    if unit is not None and unit not in ("s", "ms", "us", "µs", "ns", "sec", "seconds", "msec"):
        return None
    if words & {"best", "min", "minimum"}:
        return "rtt_best", None
    if words & {"worst", "max", "maximum"}:
        return "rtt_worst", None
    if words & {"stddev", "std", "sd", "mdev", "jitter", "deviation"}:
        return "rtt_spread", None
    return "rtt", None


def _told_amount(words: set[str], unit: str | None) -> tuple[str, str | None] | None:
    """A rate, a payload, or bytes counted in each row."""
    if words & _NEVER_RATE:
        return None
    direction = _direction(words)
    kind = _quantity_of(unit)
    if kind == "rate":
        return "rate", direction
    if words & {"size", "payload"} and kind in (None, "size"):
        return "size", direction
    if kind == "size" and direction is not None:
        return "volume", direction
    if kind is not None:
        return None
    alone = direction is not None and not words - UP_WORDS - DOWN_WORDS - {"link"}
    if alone or (direction is not None and words & _RATE_WORDS):
        return "rate", direction
    if words & {"throughput", "goodput", "bandwidth"} or words == {"rate"}:
        return "rate", None
    return None


def _quantity_of(unit: str | None) -> str | None:
    if unit is None:
        return None
    for quantity in ("rate", "size", "time", "share"):
        try:
            unit_factor(unit, quantity, "")
        except InputError:
            continue
        return quantity
    return None


def _column(
    index: int,
    header: Header,
    role: str,
    direction: str | None,
    options: ReadOptions,
    *,
    given: bool = False,
) -> Column:
    """The column with the unit that the caller gave for it, else the header's."""
    unit = header.unit
    for key in (header.name, index + 1, str(index + 1), role, f"{role} {direction}"):
        if key in options.units:
            unit = options.units[key]
    return Column(
        index=index, name=header.name, role=role, direction=direction, unit=unit, given=given
    )


def _with_factor(column: Column, where: str, problems: list[str]) -> Column:
    quantity = ROLES[column.role]
    if quantity is None or column.unit is None:
        return column
    try:
        factor = unit_factor(column.unit, quantity, f"{where}: column {column.name!r}")
    except InputError as error:
        problems.append(str(error))
        return column
    return Column(
        index=column.index, name=column.name, role=column.role, direction=column.direction,
        unit=column.unit, factor=factor, given=column.given,
    )  # fmt: skip


def _one_a_role(
    columns: Sequence[Column], where: str, problems: list[str]
) -> tuple[list[Column], list[tuple[str, str]]]:
    """One column for each role and direction: a given one, or the only one with a unit."""
    groups: dict[tuple[str, str | None], list[Column]] = {}
    for column in columns:
        groups.setdefault((column.role, column.direction), []).append(column)
    kept, notes = [], []
    for (role, direction), group in groups.items():
        best = [c for c in group if c.given] or [c for c in group if c.unit is not None] or group
        if role in ("peer", "transport"):
            best = best[:1]
        if len(best) > 1:
            listed = ", ".join(repr(c.name) for c in best)
            problems.append(
                f"{where}: expected one column as {role} {direction or ''}".rstrip()
                + f", got {listed}; say which with columns={{{best[0].name!r}: "
                f"{' '.join(filter(None, (role, direction)))!r}}}"
            )
        kept.append(best[0])
        notes += [
            ("column left out", f"column {c.name!r} left out; {best[0].name!r} says its unit")
            for c in group
            if c not in best
        ]
    return kept, notes
