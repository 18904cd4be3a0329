"""Any supported measurement to a Trace: what a file is, is told by its content, not its name."""

import io
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from linkfit.errors import InputError, TraceError
from linkfit.ingest.columns import names_measurements
from linkfit.ingest.copies import without_copies
from linkfit.ingest.delivery import read_delivery
from linkfit.ingest.iperf3 import looks_like_iperf3, read_iperf3
from linkfit.ingest.log_transfers import looks_like_access_log, read_log_transfers
from linkfit.ingest.notes import Notes, grouped, refuse
from linkfit.ingest.options import Progress, ReadOptions, no_progress
from linkfit.ingest.parquet import read_parquet
from linkfit.ingest.ping import looks_like_ping, read_ping
from linkfit.ingest.rawfile import RawFile, open_raw
from linkfit.ingest.records import read_records
from linkfit.ingest.sniff import (
    DELIMITERS,
    NotAMeasurementError,
    binary_kind,
    find_layout,
    looks_like_delivery,
    looks_like_json_lines,
)
from linkfit.ingest.store import read_store
from linkfit.ingest.store_format import is_store
from linkfit.ingest.table import read_table
from linkfit.ingest.text import Encoding, decode, find_encoding
from linkfit.ingest.trace import Finding, Trace
from linkfit.units import format_count

_WAY_SUFFIXES = {".up": "up", ".down": "down"}


def read_trace(
    *paths: str | Path,
    direction: str | None = None,
    columns: Mapping[str | int, str] | None = None,
    units: Mapping[str | int, str] | None = None,
    timezone: str = "UTC",
    saturating: bool | None = None,
    transport: str | None = None,
    step_s: float | None = None,
    progress: Progress = no_progress,
) -> Trace:
    """Everything that files and folders of measurements say, as one Trace.

    Parameters
    ----------
    *paths : str or Path
        Files, folders (read with all below them; what is no measurement is passed over with a
        finding) or ``"-"`` for standard input.
    direction : {"up", "down"}, optional
        Which way measurements went that do not say it: up is from the server towards the
        internet.
    columns : mapping, optional
        Header name, or position from 1, to role, for tables: ``{"chunk_size": "size",
        "delivery_time": "duration"}``, ``{3: "rate up"}``. Roles: linkfit.ingest.columns.ROLES.
        For an access log the fields of the duration and of the size of requests:
        ``{"last": "duration", 9: "size"}``.
    units : mapping, optional
        Header name, position or role to unit, for tables: ``{"chunk_size": "kbit"}``.
    timezone : str
        Zone of times that carry none, as in ``"Europe/Lisbon"``.
    saturating : bool, optional
        Whether tables of rates were measured by senders that tried for all they could get;
        without it they were, unless the table is a device's own log.
    transport : {"unknown", "tcp", "udp", "passive"}, optional
        Of tables that do not say it.
    step_s : float, optional
        Length of one row of a table that does not say it. [s]
    progress : callable, optional
        Called with file name, bytes read and bytes in all while long tables are read.

    Raises
    ------
    TraceError
        With all problems of all files: a file that cannot be read, is no measurement, is
        damaged, or does not say what it must and the options do not say it either.
    """
    if not paths:
        raise InputError("paths: expected at least one file or folder, got none")
    options = ReadOptions(
        direction=direction, columns=dict(columns or {}), units=dict(units or {}),
        timezone=timezone, saturating=saturating, transport=transport, step_s=step_s,
        progress=progress,
    )  # fmt: skip
    traces: list[Trace] = []
    problems: list[tuple[str, str]] = []
    seen: set[Path] = set()
    for path in paths:
        try:
            if str(path) != "-" and Path(path).is_dir():
                traces.append(_read_folder(Path(path), options, seen, problems))
            elif str(path) == "-" or _is_new(Path(path), seen):
                traces.append(_read_file(path, options))
        except TraceError as error:
            problems.append((str(path), str(error)))
    refuse(grouped(problems))
    return without_copies(Trace.merge(traces))


def _is_new(path: Path, seen: set[Path]) -> bool:
    """Was this very file not read yet? Notes it in `seen`."""
    whole = path.resolve()
    known = whole in seen
    seen.add(whole)
    return not known


def _beside_a_store(path: Path) -> bool:
    """Is it one of the files that a store keeps beside it?"""
    return any(
        path.name.endswith(end) and path.with_name(path.name.removesuffix(end)).is_file()
        for end in ("-wal", "-shm", ".lock")
    )


def _read_folder(
    folder: Path, options: ReadOptions, seen: set[Path], problems: list[tuple[str, str]]
) -> Trace:
    """All measurements below `folder`; what is none is a finding, what is damaged a problem."""
    traces: list[Trace] = []
    passed_over: list[Finding] = []
    files = [p for p in sorted(folder.rglob("*")) if p.is_file() and not _beside_a_store(p)]
    for path in files:
        if not _is_new(path, seen):
            continue
        try:
            traces.append(_read_file(path, options))
        except NotAMeasurementError as error:
            passed_over.append(
                Finding(source=str(path), kind="passed over", n_samples=1, text=str(error))
            )
        except TraceError as error:
            problems.append((str(path), str(error)))
    if not files:
        raise TraceError(
            f"{folder}: expected a folder with measurements, got one without files; put the "
            "traces there, or name the folder that holds them"
        )
    if not traces and len(passed_over) == len(files):
        raise TraceError(
            f"{folder}: expected a folder with measurements, got "
            f"{format_count(len(passed_over), 'file')}, none of them a measurement; name a file "
            "to hear what is wrong with it"
        )
    merged = Trace.merge(traces)
    return replace(merged, findings=(*merged.findings, *passed_over))


def _read_file(path: str | Path, options: ReadOptions) -> Trace:
    with open_raw(path) as raw:
        kind = binary_kind(raw.head)
        if kind == "parquet":
            return read_parquet(raw, options, Notes(raw.name))
        if is_store(raw.head):
            return _read_store(path, raw.name)
        if kind is not None:
            raise NotAMeasurementError(
                f"{raw.name}: expected a measurement as text, got {kind}; unpack or export it first"
            )
        encoding = find_encoding(raw.head, raw.name)
        trace = _read_text(raw, encoding, options)
        if encoding.certain:
            return trace
        guess = Finding(
            source=raw.name,
            kind="encoding taken",
            n_samples=1,
            text=f"the text is not UTF-8; read as {encoding.name}: names may be wrong, digits not",
        )
        return replace(trace, findings=(guess, *trace.findings))


def _read_store(path: str | Path, name: str) -> Trace:
    if str(path) == "-":
        raise TraceError(f"{name}: expected a recorder's store by its name, got a pipe; name it")
    return read_store(path, name)


def _read_text(raw: RawFile, encoding: Encoding, options: ReadOptions) -> Trace:
    notes = Notes(raw.name)
    head = raw.head.decode(encoding.name, errors="replace")
    if looks_like_iperf3(head):
        text, _ = decode(raw.read_all(), raw.name)
        try:
            return read_iperf3(text, raw.name, raw.sha256, direction=options.direction)
        except TraceError as error:  # a report of an error only: no reason to refuse a folder
            raise NotAMeasurementError(str(error)) from error
    if looks_like_ping(head):
        _refuse_nul(raw, encoding)
        _refuse_mixture(head, raw.name)
        # line by line: weeks of ping need not fit into memory
        lines = io.TextIOWrapper(raw.rewind(), encoding=encoding.name, errors="replace")
        try:
            return read_ping(lines, raw.name, raw.sha256, timezone=options.timezone)
        except TraceError as error:
            raise NotAMeasurementError(str(error)) from error
        finally:
            lines.detach()
    if looks_like_access_log(raw.head):
        _refuse_nul(raw, encoding)
        return read_log_transfers(raw, options)
    if looks_like_delivery(head):
        way, told = _way(raw, options)
        text, _ = decode(raw.read_all(), raw.name)
        trace = read_delivery(text, raw.name, raw.sha256, direction=way)
        return replace(trace, findings=(*told, *trace.findings))
    if looks_like_json_lines(head):
        _refuse_nul(raw, encoding)
        return read_records(raw, encoding, options, notes)
    try:
        return read_table(raw, find_layout(head, raw.name), encoding, options, notes)
    except TraceError:
        _refuse_nul(raw, encoding)  # it may be why; a table that was read has none
        raise


def _refuse_nul(raw: RawFile, encoding: Encoding) -> None:
    if not encoding.name.startswith("utf-16"):
        raw.refuse_nul()


def _refuse_mixture(head: str, name: str) -> None:
    """Raise if ping output follows the header of a table: two files became one."""
    first = head.lstrip("\ufeff\r\n").splitlines()[0]
    if looks_like_ping(first):  # a host may be called anything, with delimiters too
        return
    if any(names_measurements(first.split(delimiter)) for delimiter in DELIMITERS):
        raise TraceError(
            f"{name}: expected one kind of measurement, got a table ({first[:40]!r}) and ping "
            "output in one file; split them"
        )


def _way(raw: RawFile, options: ReadOptions) -> tuple[str, tuple[Finding, ...]]:
    """Direction of a file that cannot say it: the option, else a plain last word of its name."""
    if options.direction is not None:
        return options.direction, ()
    suffix = Path(raw.name).suffix.lower()
    if suffix not in _WAY_SUFFIXES:
        raise TraceError(
            f"{raw.name}: expected to know which way the packets went, got times only; say "
            "direction='up' (from the server towards the internet) or 'down'"
        )
    way = _WAY_SUFFIXES[suffix]
    text = f"direction {way} taken from the end of the name, {suffix!r}: the file does not say it"
    return way, (Finding(source=raw.name, kind="direction from name", n_samples=1, text=text),)
