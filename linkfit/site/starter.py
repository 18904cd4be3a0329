"""A commented site file to start from: every key, what it means, and the kinds' own tasks.

Comments come from the descriptions of the models that read the file, so that they cannot part.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from linkfit.errors import InputError
from linkfit.site.background import default_background
from linkfit.site.entries import BackgroundEntry, BacklogEntry, ServiceEntry, TaskEntry
from linkfit.site.entry import Entry
from linkfit.site.kind import Kind
from linkfit.site.kinds import find_kind
from linkfit.site.model import PathLimits, Task
from linkfit.site.place_entries import HoursEntry, PathEntry, PlanEntry, PowerEntry, SiteEntry
from linkfit.site.price_entries import PricesEntry
from linkfit.site.problems import Problems
from linkfit.site.shown import as_toml
from linkfit.site.tasks import deaf_keys
from linkfit.units import format_duration, format_size

_HEAD = """\
# A site file for linkfit: what is asked of the link.
#
# Values carry their unit: "60 GB" (1 GB = 1e9 bytes, 1 GiB = 2^30), "512 kbit/s", "18 ms".
# A line that begins with "# key =" counts only once the # in front of it is taken away.
#
# flow is said from the server:
#   out = the server sends (a visitor looks at photos),
#   in = the server receives (a phone adds a photo),
#   both = the size goes each way.
# up and down are the link's own directions as its owner sees them: out from the server is up.
"""
_COLUMN = 46


def starter_text(kinds: Sequence[str], name: str = "My site", timezone: str = "UTC") -> str:
    """A commented starter site file for a place with services of `kinds`.

    Parameters
    ----------
    kinds : sequence of str
        Names of kinds; one that comes twice gives two services.
    name, timezone : str
        Name of the place and of its time zone (tz database).

    Returns
    -------
    text : str
        TOML that `parse_site` takes as it stands. Optional keys are commented out with an
        example, so that nothing is claimed that its owner did not write.

    Raises
    ------
    ConfigError
        If a kind is unknown or there is none, or the name or the time zone cannot be used.
    """
    found = _found_kinds(kinds, name, timezone)
    parts = [
        _HEAD,
        _table(SiteEntry, "[site]", {"name": name, "timezone": timezone}),
        _table(PlanEntry, "[plan]"),
        _table(PathEntry, "[path]"),
        _optional(HoursEntry, "[hours]"),
        "# Or, in place of [hours]:\n" + _optional(PowerEntry, "[power]"),
        _optional(PricesEntry, "[prices]"),
        *(_service(kind, title) for title, kind in found),
        "# A task of your own, in the service above it:\n"
        + _optional(TaskEntry, "[[service.task]]"),
        _optional(BacklogEntry, "[[backlog]]"),
        _background(),
    ]
    return "\n".join(parts)


def _found_kinds(kinds: Sequence[str], name: str, timezone: str) -> list[tuple[str, Kind]]:
    """Each kind with a name of its own for its service; every problem at once."""
    problems = Problems("starter file")
    problems.validated(SiteEntry, {"name": name, "timezone": timezone}, ())
    if not kinds:
        problems.add(("kinds",), "expected at least one kind, got none; for example photo-library")
    found: list[tuple[str, Kind]] = []
    for kind_name in kinds:
        try:
            kind = find_kind(kind_name)
        except InputError as error:
            problems.add((), str(error))
            continue
        n_before = sum(kind is other for _, other in found)
        title = kind.name.replace("-", " ")
        found.append((f"{title} {n_before + 1}" if n_before else title, kind))
    problems.raise_any()
    return found


def _line(key: str, value: object, comment: str, *, active: bool) -> str:
    """``key = value   # comment``, behind a # if it is not `active`."""
    assignment = f"{'' if active else '# '}{key} = {as_toml(value)}"
    return f"{assignment:<{_COLUMN}} # {comment}"


def _table(
    model: type[Entry],
    header: str,
    active: Mapping[str, Any] | None = None,
    leave_out: Sequence[str] = (),
) -> str:
    """A table with the keys of `model`: those in `active` so, the others commented out."""
    values = active or {}
    lines = [header]
    for key, field in model.model_fields.items():
        if key not in leave_out:
            example = field.examples[0] if field.examples else field.default
            value = values.get(key, example)
            lines.append(_line(key, value, field.description or "", active=key in values))
    return "\n".join(lines) + "\n"


def _optional(model: type[Entry], header: str) -> str:
    """A table of which every line is commented out, its header too."""
    return "# " + _table(model, header)


def _service(kind: Kind, title: str) -> str:
    """A service of `kind` with the keys that its tasks listen to, and those tasks."""
    users = {} if not kind.needs_users else {"users": 1}
    table = _table(
        ServiceEntry,
        f"# {kind.name}: {kind.summary}; users counts {kind.users_are}\n[[service]]",
        {"name": title, "kind": kind.name, **users},
        leave_out=("task", *deaf_keys(kind)),
    )
    usual = [_task(task) for task in kind.tasks]
    text = f"{table}# Its tasks. To change one, take the # away and write the keys that differ:\n"
    text += "".join(usual)
    if kind.occasional:
        text += "# Tasks that count only if they stand here:\n"
        text += "".join(map(_task, kind.occasional))
    return text


def _task(task: Task) -> str:
    """A task of a kind as a commented table, with what the kind assumes."""
    size: dict[str, Any] = {"median": _short(format_size(task.size.median_bytes))}
    if task.size.spread > 1:
        size["spread"] = task.size.spread
    values: dict[str, Any] = {
        "flow": task.flow,
        "size": size,
        "requests": task.n_requests,
        "per_user_day": float(f"{task.per_user_day:.3g}"),
    }
    if task.target_s is not None:
        values["target"] = _short(format_duration(task.target_s))
    lines = ["", f"# {task.source}", "# [[service.task]]", f"# name = {as_toml(task.name)}"]
    for key, value in values.items():
        comment = TaskEntry.model_fields[key].description or ""
        lines.append(_line(key, value, comment, active=False))
    return "\n".join(lines) + "\n"


def _short(quantity: str) -> str:
    """``"3.50 MB"`` as ``"3.5 MB"``."""
    number, unit = quantity.split(" ")
    return f"{float(number):g} {unit}"


def _background() -> str:
    causes = ", ".join(cause.name for cause in default_background(PathLimits(entry="relay")))
    return (
        f"# Counted without being asked for, and changed under the same name: {causes}\n"
        + _optional(BackgroundEntry, "[[background]]").replace("# per_month", "# or  per_month")
    )
