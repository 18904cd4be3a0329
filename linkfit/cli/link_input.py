"""What a command was given as its LINK: trace files, folders, a fitted link or quick numbers."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from linkfit._checks import positive
from linkfit.cli.console import reading_progress, working_on
from linkfit.errors import InputError
from linkfit.units import parse_duration_s, parse_rate_bps

if TYPE_CHECKING:
    from linkfit.ingest.trace import Trace
    from linkfit.link.model import LinkModel

_HEAD_CHARACTERS = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceInput:
    """Trace files as named on the command line, and how to read them."""

    paths: tuple[str, ...]
    direction: str | None = None
    columns: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    timezone: str = "UTC"
    row_length: str | None = None
    saturating: bool | None = None


def trace_input(
    paths: Sequence[str] | None,
    direction: str | None,
    columns: Sequence[str] | None,
    units: Sequence[str] | None,
    timezone: str,
    row_length: str | None = None,
    saturating: bool | None = None,
    duration_field: str | None = None,
) -> TraceInput:
    """The options of a command as one value.

    Raises
    ------
    InputError
        If `duration_field` is not FIELD=UNIT.
    """
    roles, texts = list(columns or ()), list(units or ())
    if duration_field is not None:
        ((field, unit),) = _pairs("--duration-field", (duration_field,)).items()
        roles.append(f"{field}=duration")
        texts.append(f"duration={unit}")
    return TraceInput(
        paths=tuple(paths or ()),
        direction=direction,
        columns=tuple(roles),
        units=tuple(texts),
        timezone=timezone,
        row_length=row_length,
        saturating=saturating,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickNumbers:
    """Rates and round trip as texts with units; None where not given."""

    down: str | None = None
    up: str | None = None
    rtt: str | None = None

    @property
    def given(self) -> bool:
        """Was any of them given?"""
        return any(text is not None for text in (self.down, self.up, self.rtt))


def read_traces(given: TraceInput) -> "Trace":
    """Read every file and folder of `given`, with progress on stderr."""
    from linkfit.ingest.reader import read_trace

    step_s = None
    if given.row_length is not None:
        step_s = parse_duration_s(given.row_length, where="--row-length")
    with reading_progress(len(given.paths)) as progress:
        return read_trace(
            *given.paths,
            direction=given.direction,
            columns=_pairs("--columns", given.columns),
            units=_pairs("--units", given.units),
            timezone=given.timezone,
            saturating=given.saturating,
            step_s=step_s,
            progress=progress,
        )


def link_from(
    given: TraceInput, quick: QuickNumbers, *, seed: int, families: bool = False
) -> "LinkModel":
    """The link model that the command line describes; `families` where they are shown."""
    from linkfit.link.fit import fit_link

    if len(given.paths) == 1 and holds_a_link(given.paths[0]):
        from linkfit.link.artifact import load_link

        if quick.given:
            raise InputError(
                "LINK: expected a fitted link or quick numbers (--down, --up, --rtt), got both; "
                "leave one of them out"
            )
        return load_link(given.paths[0])
    if quick.given and given.paths:
        trace = _completed(read_traces(given), quick)
    else:
        trace = _quick_trace(quick) if quick.given else read_traces(_some(given))
    with working_on("fitting the link"):
        return fit_link(trace, seed=seed, timezone=given.timezone, families=families)


def _completed(trace: "Trace", quick: QuickNumbers) -> "Trace":
    """Measurements with quick numbers for what they do not hold; a number for more is refused."""
    from linkfit.ingest.trace import Trace

    ways = [*trace.throughput.is_up, *trace.transfers.is_up]
    held = {"--up": any(ways), "--down": not all(ways), "--rtt": len(trace.latency) > 0}
    numbers = {"--up": quick.up, "--down": quick.down, "--rtt": quick.rtt}
    twice = [name for name, text in numbers.items() if text is not None and held[name]]
    if twice:
        raise InputError(
            f"{', '.join(twice)}: expected a number for what the files do not hold, got one for "
            "what they measured; leave it out"
        )
    return Trace.merge([trace, _quick_trace(quick, alone=False)])


def mean_rates_bps(
    paths: Sequence[str] | None, *, timezone: str, seed: int
) -> dict[str, float] | None:
    """Mean rate of each measured direction of the link in `paths`; None without a link."""
    if not paths:
        return None
    link = link_from(TraceInput(paths=tuple(paths), timezone=timezone), QuickNumbers(), seed=seed)
    models = {"up": link.up, "down": link.down}
    return {name: model.mean_rate_bps for name, model in models.items() if model is not None}


def _some(given: TraceInput) -> TraceInput:
    if not given.paths:
        raise InputError(
            "LINK: expected trace files, a link.json or quick numbers, got nothing; for example "
            '\'--down "24 Mbit/s" --up "6 Mbit/s" --rtt "55 ms"\''
        )
    return given


def _quick_trace(quick: QuickNumbers, *, alone: bool = True) -> "Trace":
    from linkfit.ingest.trace import Trace

    down, up, rtt = quick.down, quick.up, quick.rtt
    if alone and down is None and up is None:
        raise InputError("LINK: expected --down, --up or both, got --rtt alone; add a rate")
    return Trace.from_quick_numbers(
        down_bps=None if down is None else positive("--down", parse_rate_bps(down, where="--down")),
        up_bps=None if up is None else positive("--up", parse_rate_bps(up, where="--up")),
        rtt_s=None if rtt is None else positive("--rtt", parse_duration_s(rtt, where="--rtt")),
    )


def holds_a_link(path: str) -> bool:
    """Does the file say that linkfit saved a link in it? By content, never by name."""
    if path == "-" or not Path(path).is_file():
        return False
    with Path(path).open(encoding="utf-8", errors="replace") as file:
        head = file.read(_HEAD_CHARACTERS)
    return '"linkfit/link/' in head and head.lstrip().startswith("{")


def _pairs(option: str, texts: Sequence[str]) -> dict[str | int, str]:
    """``["rate=Mbit/s", "2=time"]`` as a mapping; a whole number is a column's position."""
    pairs: dict[str | int, str] = {}
    for text in texts:
        # the header itself may hold "="
        name, separator, value = text.rpartition("=")
        if not separator or not name.strip() or not value.strip():
            raise InputError(f"{option}: expected COLUMN=VALUE, got {text!r}; write 'rate=Mbit/s'")
        key = name.strip()
        pairs[int(key) if key.isdigit() else key] = value.strip()
    return pairs
