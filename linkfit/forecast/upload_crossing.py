"""Which directions uploads cross: one, or both for clients on the same link as the server."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import FitError
from linkfit.forecast.load import opposite
from linkfit.forecast.upload_ask import UploadAsk
from linkfit.link.paths import CapacityPaths

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

_LEAST_BPS = 1.0  # less than this carries nothing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UploadCrossing:
    """What the link carries of uploads at the IP layer.

    Parameters
    ----------
    paths : CapacityPaths
        Of one item; in rows that `stays` marks its client is on the same link.
    away_bps, both_bps : array, shape (d, t)
        Of clients elsewhere, and of those on the same link. [bit/s]
    stays : array of bool, shape (d,)
        Rows in which the item crosses both ways, a share of them all.
    share_frac : float
        That share. [fraction]
    unmeasured : str
        The direction that clients on the same link cross as well and nobody measured; "" if none.
    """

    paths: CapacityPaths
    away_bps: "NDArray[np.float64]"
    both_bps: "NDArray[np.float64]"
    stays: "NDArray[np.bool_]"
    share_frac: float
    unmeasured: str = ""

    def in_turn_bps(self) -> "NDArray[np.float64]":
        """Rate of many items one after the other, clients of both kinds among them. [bit/s]"""
        if not self.stays.any():
            return self.away_bps
        time = self.share_frac / np.maximum(self.both_bps, _LEAST_BPS)
        time += (1.0 - self.share_frac) / np.maximum(self.away_bps, _LEAST_BPS)
        return np.where(self.both_bps > _LEAST_BPS, 1.0 / time, 0.0)


def crossing_of(ask: UploadAsk, draw: "Callable[[str], CapacityPaths]") -> UploadCrossing:
    """What the link carries of `ask`.

    Parameters
    ----------
    draw : callable
        Futures of "up" or "down".

    Raises
    ------
    FitError
        If the direction of the flow was never measured.

    Notes
    -----
    A client on the same link reaches the server by the public name: what it sends goes up and
    comes down again, so the slower direction sets the pace in each moment, and an outage of
    either breaks it. The far end's own limit is that of clients elsewhere. Items in turn take a
    time that is the mean of both kinds', their rate is the harmonic mean.
    """
    paths, share = draw(ask.direction), ask.same_link_share_frac
    own_bps = away_bps = both_bps = paths.rates_bps
    if ask.remote_rate_bps is not None:
        away_bps = np.minimum(away_bps, ask.remote_rate_bps)
    stays, unmeasured, one_bps = np.zeros(paths.n_draws, dtype=np.bool_), "", away_bps
    if share:
        try:
            both_bps = np.minimum(both_bps, draw(opposite(ask.direction)).rates_bps)
        except FitError:
            unmeasured = opposite(ask.direction)
        else:
            stays = spread_share(paths.world, share)
            one_bps = away_bps.copy()
            one_bps[stays] = both_bps[stays]
    if one_bps is not own_bps:
        paths = CapacityPaths.from_rates(one_bps, paths.step_s, paths.world)
    return UploadCrossing(
        paths=paths,
        away_bps=away_bps,
        both_bps=both_bps,
        stays=stays,
        share_frac=share,
        unmeasured=unmeasured,
    )


def spread_share(world: "NDArray[np.int32]", share_frac: float) -> "NDArray[np.bool_]":
    """A share of rows, spread evenly over the worlds; shape (d,)."""
    turn = np.argsort(world, kind="stable")
    due = np.floor((np.arange(world.size) + 1) * share_frac + 1e-9)
    chosen = np.zeros(world.size, dtype=np.bool_)
    chosen[turn] = np.diff(due, prepend=0.0) > 0
    return chosen
