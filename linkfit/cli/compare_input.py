"""The links that ``linkfit compare`` was given: their names, sites, costs, or one link split."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from linkfit.cli.console import working_on
from linkfit.cli.link_input import QuickNumbers, TraceInput, link_from, read_traces
from linkfit.errors import InputError

if TYPE_CHECKING:
    from linkfit.advice.compared_links import NamedLink
    from linkfit.link.model import LinkModel
    from linkfit.site.model import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the command line says besides how to read the files; `split` or `halves`: one link."""

    names: tuple[str, ...] = ()
    prices: tuple[str, ...] = ()
    split: str | None = None
    halves: bool = False
    seed: int = 0


def named_links(
    given: TraceInput, sites: "Sequence[Site]", asked: Asked
) -> "tuple[NamedLink, ...]":
    """The links of the command line, in its order."""
    from linkfit.advice.compared_links import NamedLink

    if asked.split is not None or asked.halves:
        labels, links = _split_link(given, asked)
    else:
        labels = _labels(given.paths)
        if len(given.paths) < 2:
            raise InputError(
                f"LINK: expected two links or more, got {len(given.paths)}; name another, or say "
                "--halves or --split DAY to compare one with itself"
            )
        links = tuple(
            link_from(replace(given, paths=(path,)), QuickNumbers(), seed=asked.seed)
            for path in given.paths
        )
    names = _names(asked.names, labels)
    costs = _costs(asked.prices, names)
    each = _each(sites, len(links))
    return tuple(
        NamedLink(name=name, link=link, site=each[i], month_cost=costs.get(name))
        for i, (name, link) in enumerate(zip(names, links, strict=True))
    )


def _split_link(given: TraceInput, asked: Asked) -> "tuple[tuple[str, ...], tuple[LinkModel, ...]]":
    """One set of traces as two links, before and after."""
    from linkfit.ingest.split import halves, split_at
    from linkfit.link.fit import fit_link

    if asked.split is not None and asked.halves:
        raise InputError("--halves: expected --halves or --split, got both; leave one out")
    if not given.paths:
        raise InputError("LINK: expected trace files, got none; name those of one link")
    trace = read_traces(given)
    if asked.split is None:
        labels, parts = ("first half", "second half"), halves(trace)
    else:
        labels = (f"before {asked.split}", f"from {asked.split}")
        parts = split_at(trace, _moment_s(asked.split, given.timezone))
    with working_on("fitting both parts"):
        links = tuple(fit_link(part, seed=asked.seed, timezone=given.timezone) for part in parts)
    return labels, links


def _moment_s(text: str, timezone: str) -> float:
    """A day, or a day and time, in the zone of the traces, since 1970-01-01 UTC. [s]"""
    from zoneinfo import ZoneInfo

    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            f"--split: expected a day or a moment as 2026-07-01 or 2026-07-01T08:00, got {text!r}"
        ) from error
    zone = UTC if timezone == "UTC" else ZoneInfo(timezone)
    return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).timestamp()


def _labels(paths: Sequence[str]) -> tuple[str, ...]:
    """Names of links from their paths: the shortest ends of them that differ."""
    parts = [Path(path).parts or (path,) for path in paths]
    for depth in range(1, max(map(len, parts), default=1) + 1):
        labels = tuple("/".join(part[-depth:]) for part in parts)
        if len(set(labels)) == len(labels):
            return labels
    return tuple(f"{path} ({number})" for number, path in enumerate(paths, start=1))


def _names(names: Sequence[str], labels: Sequence[str]) -> tuple[str, ...]:
    if names and len(names) != len(labels):
        raise InputError(
            f"--name: expected one for each of {len(labels)} links, in their order, got "
            f"{len(names)}"
        )
    return tuple(names or labels)


def _each(sites: "Sequence[Site]", n_links: int) -> "list[Site | None]":
    """The site of each link: one for all, or one a link."""
    if not sites:
        return [None] * n_links
    if len(sites) not in (1, n_links):
        raise InputError(
            f"--site: expected one for all links or one for each of {n_links}, got {len(sites)}"
        )
    return [sites[0]] * n_links if len(sites) == 1 else list(sites)


def _costs(prices: Sequence[str], names: Sequence[str]) -> dict[str, float]:
    """``["A=30"]`` as money a month by name."""
    costs = {}
    for text in prices:
        name, separator, value = text.rpartition("=")
        try:
            cost = float(value)
        except ValueError:
            cost = -1.0
        if not separator or not 0 <= cost < float("inf"):
            raise InputError(
                f"--price: expected NAME=MONEY PER MONTH, got {text!r}; write 'LTE=30'"
            )
        if name not in names:
            known = ", ".join(repr(one) for one in names)
            raise InputError(f"--price: expected the name of a link ({known}), got {name!r}")
        costs[name] = cost
    return costs


def first_day(text: str | None, sites: "Sequence[Site]", today: date) -> date | None:
    """The first day of the backlogs of all sites."""
    from linkfit.cli import site_input

    days = [site_input.first_day(text, site, today) for site in sites[:1]]
    return days[0] if days else None
