"""Pieces and numbers at once for the uploads of a site, the same that `linkfit uploads` says."""

from dataclasses import replace
from typing import Any, Protocol

from linkfit.errors import FitError
from linkfit.forecast.chunks import ChunkAdvice
from linkfit.forecast.parallel_uploads import LaneAdvice
from linkfit.forecast.upload_ask import UploadAsk, site_limits
from linkfit.forecast.upload_crossing import crossing_of
from linkfit.forecast.upload_rates import UploadRates, upload_paths
from linkfit.link.model import LinkModel
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import Backlog, Site, Task

_LARGE_Z = 1.28  # nine of ten lognormal sizes stay below the median times spread to this


class UploadSettings(Protocol):
    """What to set for the uploads of a task or backlog; None where nothing is known of the path."""

    def chunk(self, site: Site, holder: Task | Backlog) -> ChunkAdvice | None:
        """The size of a piece of its large items, which decide."""

    def lanes(self, site: Site, holder: Task | Backlog) -> LaneAdvice | None:
        """How many of its usual items at once."""


class LinkUploads:
    """`UploadSettings` from the futures of one link, drawn once for each direction.

    Parameters
    ----------
    link : LinkModel
        The link as measured.
    seed : int
        Of the futures; the same gives the same as `linkfit uploads`.
    """

    def __init__(self, link: LinkModel, seed: int = 0) -> None:
        self.link, self.seed = link, seed
        self._paths: dict[str, CapacityPaths] = {}
        self._rates: dict[UploadAsk, UploadRates] = {}

    def chunk(self, site: Site, holder: Task | Backlog) -> ChunkAdvice | None:
        """The size of a piece of its large items."""
        seen = self._seen(site, holder, large_bytes(holder))
        return None if seen is None else seen.chunk_advice()

    def lanes(self, site: Site, holder: Task | Backlog) -> LaneAdvice | None:
        """How many of its usual items at once, in the pieces that it has."""
        item_bytes = holder.size.median_bytes
        seen = self._seen(site, holder, item_bytes)
        piece_bytes = min(holder.chunk_bytes or item_bytes, item_bytes)
        return None if seen is None else seen.lane_advice(piece_bytes)

    def _seen(self, site: Site, holder: Task | Backlog, item_bytes: float) -> UploadRates | None:
        """Rates for items of this size; those of the same path are found once."""
        ask = _ask(site, holder, item_bytes)
        path = replace(ask, size_bytes=1.0, n_items=1, per_item_s=0.0)
        if path not in self._rates:
            try:
                crossed = crossing_of(path, self._draw)
            except FitError:  # a direction that nobody measured
                return None
            self._rates[path] = UploadRates.of(self.link, path, crossed, seed=self.seed)
        return replace(self._rates[path], ask=ask)

    def _draw(self, way: str) -> CapacityPaths:
        if way not in self._paths:
            self._paths[way] = upload_paths(self.link, way, seed=self.seed)
        return self._paths[way]


def large_bytes(holder: Task | Backlog) -> float:
    """Size that nine of ten items stay below. [bytes]"""
    return holder.size.median_bytes * holder.size.spread**_LARGE_Z


def _ask(site: Site, holder: Task | Backlog, item_bytes: float) -> UploadAsk:
    # each way of "both" moves the size: the server's own sending is the slow one of most links
    flow = "in" if holder.flow == "in" else "out"
    limits: dict[str, Any] = site_limits(site, flow)
    if isinstance(holder, Task):
        limits["remote_rate_bps"] = holder.remote_rate_bps
        if not holder.through_entry:  # the server opens the connection itself
            limits |= {"relay_rtt_s": 0.0, "body_limit_bytes": None, "same_link_share_frac": 0.0}
    n_items = holder.n_items if isinstance(holder, Backlog) else max(holder.n_requests, 20)
    return UploadAsk(
        size_bytes=item_bytes, n_items=n_items, flow=flow, per_item_s=holder.per_item_s, **limits
    )
