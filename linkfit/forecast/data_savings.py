"""What a cycle would use less if one thing were switched off, draw by draw."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import DataForecast
from linkfit.site.model import Site

BACKGROUND = "background"
LOCAL_NAME = "local name"


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """One thing that can go: its name, what kind of thing, and the bytes of a cycle it saves."""

    name: str
    kind: str
    saved: Forecast


def savings(
    site: Site, data: DataForecast, forecast: Callable[[Site], DataForecast]
) -> tuple[Saving, ...]:
    """What each background cause, and a local name for all services, would save; largest first.

    Parameters
    ----------
    site : Site
        As it is.
    data : DataForecast
        Its data use, from `forecast`.
    forecast : callable
        Gives data use with the same draws whatever else a site has.
    """
    found = [
        (cause.name, BACKGROUND, _without(site, cause.name))
        for cause in site.background
        if cause.optional
    ]
    if site.path.same_link_share_frac:
        local = tuple(replace(service, local_name=True) for service in site.services)
        found.append((LOCAL_NAME, LOCAL_NAME, replace(site, services=local)))
    saved = [
        Saving(name=name, kind=kind, saved=_less(data.use, forecast(edited).use))
        for name, kind, edited in found
    ]
    return tuple(sorted(saved, key=lambda saving: -float(saving.saved.quantile(0.5))))


def unasked(data: DataForecast) -> Forecast:
    """Bytes of a cycle that nobody asked for, all such causes together."""
    draws = data.use.draws * 0.0
    for entry in data.ledger:
        if not entry.asked_for:
            draws = draws + entry.use.draws
    return Forecast(draws=draws, unit="bytes", world=data.use.world)


def _without(site: Site, name: str) -> Site:
    return replace(site, background=tuple(c for c in site.background if c.name != name))


def _less(before: Forecast, after: Forecast) -> Forecast:
    return Forecast(draws=before.draws - after.draws, unit="bytes", world=before.world)
