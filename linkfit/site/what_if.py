"""What if: settings such as ``plan.cap=100GB`` put into a site file before it becomes a Site.

A path names a table and its keys as the file does. Services, backlogs and causes go by their
names, tasks by the name after their service: ``finds catalogue.add a photo.per_user_day=40``.
A part with a dot in it stands in quotes. ``users=20`` alone is for every service of people.
"""

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import Any

from linkfit.errors import ConfigError, InputError
from linkfit.site.assembly import assemble
from linkfit.site.kinds import find_kind
from linkfit.site.model import Service, Site, Task
from linkfit.site.problems import Problems
from linkfit.site.shown import as_toml, did_you_mean, shown, shown_key

SOURCE = "--set"
SINGLE_TABLES = ("site", "plan", "path", "hours", "power", "prices")
NAMED_TABLES = ("service", "backlog", "background")
_PEOPLE = ("users", "visitors")
# one of the two is given: setting one takes the other out
_EITHER = {"per_day": "per_month", "per_month": "per_day"}
_PART = re.compile(r'\s*(?:"(?P<double>[^"]*)"|\'(?P<single>[^\']*)\'|(?P<plain>[^."\']*))\s*')
_EXAMPLE = "write it as 'plan.cap=100 GB' or 'NAME OF SERVICE.users=12'"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    """One text of the command line: the parts of its path, and the value as the file has it."""

    text: str
    path: tuple[str, ...]
    value: Any
    removes: bool


def with_settings(data: Mapping[str, Any], site: Site, texts: Sequence[str]) -> Site:
    """The Site of the file `data` with `texts` set in it.

    Parameters
    ----------
    data : mapping
        The parsed file; left as it is.
    site : Site
        What `data` makes by itself: gives the names that paths may use.
    texts : sequence of str
        ``PATH=VALUE`` each, a later one over an earlier; the value as in the file, quotes not
        needed; ``none`` takes the key out.

    Returns
    -------
    site : Site
        Its `what_if` names what was set, with what stood there before.

    Raises
    ------
    ConfigError
        If a path leads nowhere, or the file is not sound with the settings; all at once.
    """
    edited, told, problems = _edited(data, site, texts)
    try:
        changed = assemble(edited, Problems(SOURCE, {name: n for n, name in enumerate(edited)}))
    except ConfigError as error:
        problems += error.problems
    if problems:
        raise ConfigError(SOURCE, problems)
    return replace(changed, what_if=tuple(told))


def edited_file(data: Mapping[str, Any], site: Site, texts: Sequence[str]) -> dict[str, Any]:
    """The file `data` with `texts` set in it, which `with_settings` has taken without complaint."""
    return _edited(data, site, texts)[0]


def _edited(
    data: Mapping[str, Any], site: Site, texts: Sequence[str]
) -> tuple[dict[str, Any], list[str], list[str]]:
    """The edited file, what was set in words, and what could not be set."""
    edited: dict[str, Any] = deepcopy(dict(data))
    problems: list[str] = []
    told: list[str] = []
    for text in texts:
        try:
            setting = _read(text)
            before = [_put(table, key, setting) for table, key in _targets(edited, site, setting)]
        except InputError as error:
            problems.append(str(error))
        else:
            now = "left out" if setting.removes else as_text(setting.value)
            was = ", ".join(dict.fromkeys(before))
            told.append(f"{'.'.join(setting.path)} = {now} (was {was})")
    return edited, told, problems


def as_text(value: object) -> str:
    """A value as one writes it on the command line: texts without quotes."""
    return value if isinstance(value, str) else as_toml(value)


def _read(text: str) -> _Setting:
    path, sign, value = text.partition("=")
    parts = _parts(path)
    if not sign or not value.strip() or not parts:
        raise InputError(f"expected PATH=VALUE, got {shown(text)}; {_EXAMPLE}")
    bare = value.strip()
    # "none" is a value of its own for who may keep a copy
    removes = bare == "none" and parts[-1] != "scope"
    return _Setting(text=text, path=parts, value=_value(bare), removes=removes)


def _parts(path: str) -> tuple[str, ...]:
    """The dotted parts of `path`; () if it is none."""
    parts, position = [], 0
    while True:
        match = _PART.match(path, position)
        assert match is not None
        found = next(group for group in match.groups() if group is not None)
        parts.append(found if match["plain"] is None else found.strip())
        position = match.end()
        if position == len(path):
            return () if "" in parts else tuple(parts)
        if path[position] != ".":
            return ()
        position += 1


def _value(text: str) -> Any:
    """`text` as TOML has it where it is TOML, else a text of its own: ``100 GB``."""
    try:
        parsed = tomllib.loads(f"value = {text}")
    except (ValueError, RecursionError):
        return text
    return parsed["value"] if set(parsed) == {"value"} else text


def _put(table: dict[str, Any], key: str, setting: _Setting) -> str:
    """Set `key` in `table`; what stood there, as a text."""
    before = as_text(table[key]) if key in table else "left out"
    table.pop(_EITHER.get(key, ""), None)
    if setting.removes:
        table.pop(key, None)
    else:
        table[key] = setting.value
    return before


def _targets(
    data: dict[str, Any], site: Site, setting: _Setting
) -> Iterable[tuple[dict[str, Any], str]]:
    """The tables and keys that a path means, made where the file does not have them."""
    path = setting.path
    if path == ("users",):
        people = {s.name for s in site.services if find_kind(s.kind).users_are in _PEOPLE}
        tables = [table for table in data.get("service", []) if table["name"] in people]
        if not tables:
            raise InputError("users: expected a service that people use, got none; name one")
        return [(table, "users") for table in tables]
    if path[0] in SINGLE_TABLES and len(path) > 1:
        return [_inside(data.setdefault(path[0], {}), path[1:], path)]
    where, rest = _named(data, site, path)
    return [_inside(where, rest, path)]


def _inside(
    table: dict[str, Any], keys: Sequence[str], path: Sequence[str]
) -> tuple[dict[str, Any], str]:
    """The innermost table of `keys` and the last key."""
    if not keys:
        raise InputError(f"{_dotted(path)}: expected a key after the name, got none; {_EXAMPLE}")
    for key in keys[:-1]:
        inner = table.setdefault(key, {})
        if isinstance(inner, str):  # "3.5 MB" is short for { median = "3.5 MB" }
            inner = table[key] = {"median": inner} if key == "size" else inner
        if not isinstance(inner, dict):
            raise InputError(
                f"{_dotted(path)}: expected a table at {shown_key(key)}, got {shown(inner)}; "
                "leave out what follows it"
            )
        table = inner
    return table, keys[-1]


def _named(
    data: dict[str, Any], site: Site, path: tuple[str, ...]
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The table of the service, backlog, cause or task that `path` starts with, and the rest."""
    names = {
        "service": [service.name for service in site.services],
        "backlog": [backlog.name for backlog in site.backlogs],
        "background": [cause.name for cause in site.background],
    }
    kinds: tuple[str, ...] = NAMED_TABLES
    parts = path
    if path[0] in NAMED_TABLES and len(path) > 1:
        kinds, parts = (path[0],), path[1:]
    found = [
        (kind, name, rest) for kind in kinds for name, rest in [_first(parts, names[kind])] if name
    ]
    if not found:
        known = [*SINGLE_TABLES, *(name for kind in kinds for name in names[kind])]
        hint = did_you_mean(parts[0], known) or f"; {_EXAMPLE}"
        raise InputError(
            f"{_dotted(path)}: expected one of {', '.join(map(shown_key, known))} first, "
            f"got {shown(parts[0])}{hint}"
        )
    if len(found) > 1:
        kinds_text = " and a ".join(kind for kind, _, _ in found)
        raise InputError(
            f"{_dotted(path)}: expected a name that stands for one thing, got a {kinds_text}; "
            f"write {found[0][0]}.{_dotted(path)}"
        )
    kind, name, rest = found[0]
    table = _item(data, kind, name)
    if kind == "service":
        service = next(service for service in site.services if service.name == name)
        task_name, inner = _first(rest, _task_names(service))
        if task_name and inner:
            return _task_table(table, service, task_name, inner), inner
        if len(rest) > 1:
            hint = did_you_mean(rest[0], _task_names(service)) or ""
            raise InputError(
                f"{_dotted(path)}: expected one of the tasks "
                f"{', '.join(map(shown_key, _task_names(service)))}, got {shown(rest[0])}{hint}"
            )
    return table, rest


def _first(parts: Sequence[str], names: Sequence[str]) -> tuple[str, tuple[str, ...]]:
    """The longest name that `parts` start with, and what follows; "" if none does."""
    for n in range(len(parts), 0, -1):
        name = ".".join(parts[:n])
        if name in names:
            return name, tuple(parts[n:])
    return "", tuple(parts)


def _task_names(service: Service) -> list[str]:
    kind = find_kind(service.kind)
    own = [task.name for task in service.tasks]
    return own + [task.name for task in kind.occasional if task.name not in own]


def _item(data: dict[str, Any], kind: str, name: str) -> dict[str, Any]:
    """The table called `name`, a new one if the file leaves it to the defaults."""
    tables: list[dict[str, Any]] = data.setdefault(kind, [])
    for table in tables:
        if table["name"] == name:
            return table
    tables.append({"name": name})
    return tables[-1]


def _task_table(
    service_table: dict[str, Any], service: Service, name: str, keys: Sequence[str]
) -> dict[str, Any]:
    """The task's table; a table inside it that is set in part starts as the task has it now."""
    table = _item(service_table, "task", name)
    task = next((task for task in service.tasks if task.name == name), None)
    if task is not None and len(keys) > 1 and keys[0] not in table:
        now = _now(task, keys[0])
        if now:
            table[keys[0]] = now
    return table


def _now(task: Task, key: str) -> dict[str, Any]:
    if key == "size":
        return {"median": f"{task.size.median_bytes:.17g} B", "spread": task.size.spread}
    if key == "cache":
        return {
            "scope": task.cache.scope,
            "lifetime": f"{task.cache.lifetime_s:.17g} s",
            "views_per_object_day": task.cache.views_per_object_day,
        }
    if key == "photo" and task.image is not None:
        image = task.image
        return {"edge": image.edge_px, "format": image.format, "quality": image.quality,
                "role": image.role}  # fmt: skip
    return {}


def _dotted(path: Sequence[str]) -> str:
    return shown_key(".".join(path))
