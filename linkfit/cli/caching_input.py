"""What ``linkfit caching`` was asked: lifetimes, cache sizes, the log."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from linkfit.cli.link_input import mean_rates_bps
from linkfit.errors import InputError
from linkfit.units import parse_duration_s, parse_size_bytes

if TYPE_CHECKING:
    from linkfit.forecast.cache_answer import CacheAnswer
    from linkfit.site.model import Site


def asked_caches(
    site: "Site",
    *,
    log: str | None,
    lifetime: str | None,
    cache_sizes: Sequence[str] | None,
    seed: int,
) -> "CacheAnswer":
    """The answer for the options as given; what they cannot mean is told at once."""
    from linkfit.forecast.cache_answer import answer_caching
    from linkfit.ingest.access_log import read_access_log

    if cache_sizes and log is None:
        raise InputError(
            "--cache-size: expected a --log beside it, got none; without one nothing tells how "
            "many objects are asked for"
        )
    asked_s = [] if lifetime is None else [parse_duration_s(lifetime, where="--lifetime")]
    sizes = [parse_size_bytes(text, where="--cache-size") for text in cache_sizes or ()]
    if 0 in sizes:
        raise InputError("--cache-size: expected more than 0 bytes, got 0; leave it out for none")
    read = None if log is None else read_access_log(log)
    return answer_caching(site, more_lifetimes_s=asked_s, cache_sizes=sizes, log=read, seed=seed)


def link_rate_bps(links: Sequence[str] | None, *, timezone: str, seed: int) -> float | None:
    """Mean rate of the uplink; None without a link, or if up was never measured."""
    rates = mean_rates_bps(links, timezone=timezone, seed=seed)
    return None if rates is None else rates.get("up")
