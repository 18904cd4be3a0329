"""A site file as flat settings: each value with the path that ``--set`` has for it."""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from linkfit.site.assembly import assemble
from linkfit.site.problems import Problems
from linkfit.site.what_if import NAMED_TABLES, as_text, edited_file


def flat_settings(text: str, settings: Sequence[str] = ()) -> tuple[tuple[str, str], ...]:
    """Path and value of everything that a sound site file says, in file order.

    Parameters
    ----------
    text : str
        The file, as `linkfit.site.file.parse_site` takes it.
    settings : sequence of str
        ``PATH=VALUE`` each, set in it first.

    Returns
    -------
    settings : tuple of (str, str)
        As in ``("plan.cap", "60 GB")`` or ``("finds catalogue.add a photo.target", "60 s")``;
        kinds of table stand before names that two of them share. A table that holds nothing but
        its name has the value "as usual".
    """
    data: dict[str, Any] = tomllib.loads(text.removeprefix("\ufeff"))
    if settings:
        site = assemble(data, Problems("site", {name: n for n, name in enumerate(data)}))
        data = edited_file(data, site, settings)
    names = [str(table["name"]) for kind in NAMED_TABLES for table in data.get(kind, ())]
    shared = {name for name in names if names.count(name) > 1}
    found: list[tuple[str, str]] = []
    for key, value in data.items():
        if key not in NAMED_TABLES:
            found += _flat((key,), value)
            continue
        for table in value:
            name = str(table["name"])
            found += _named((key, name) if name in shared else (name,), table)
    return tuple(found)


def _flat(path: tuple[str, ...], value: Any) -> Iterator[tuple[str, str]]:
    """Everything inside `value`; tables of a list by their names, else by number."""
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _flat((*path, key), inner)
    elif isinstance(value, list) and value and all(isinstance(one, Mapping) for one in value):
        for number, one in enumerate(value, start=1):
            name = (*path[:-1], str(one["name"])) if "name" in one else (*path, str(number))
            yield from _named(name, one)
    else:
        yield ".".join(map(_part, path)), as_text(value)


def _named(path: tuple[str, ...], table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """What a table holds besides its name."""
    rest = {key: value for key, value in table.items() if key != "name"}
    if not rest:
        yield ".".join(map(_part, path)), "as usual"
    yield from _flat(path, rest)


def _part(part: str) -> str:
    """A part of a path; in quotes where it holds a dot, as ``--set`` wants it."""
    if "." not in part:
        return part
    return f"'{part}'" if "'" not in part else f'"{part}"'
