"""predict_transfer: how long one payload takes over a link, as a Forecast."""

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit._checks import count, non_negative, positive
from linkfit.errors import InputError
from linkfit.forecast.draws import Forecast
from linkfit.forecast.overhead import MSS_BYTES, TCP_IPV4_BYTES
from linkfit.forecast.tcp import transfer_times_s
from linkfit.forecast.transfer_width import settled, width_shares
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.ingest.trace import Trace
    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

DEFAULT_BUFFER_BYTES = 3e5  # common practice: what modems queue where it was not measured
_LEAST_STEP_S = 1.0
_LEAST_HORIZON_S = 120.0
_LONGEST_S = 30 * SECONDS_PER_DAY  # beyond it the plan and the hours decide, not the transfer
_FINE_STEPS = 600  # steps of a path: 2000 paths take 10 MB
_PILOT_DRAWS = 40
_MOST_TRIES = 6
_LATE_FRAC = 0.002  # so few draws may outlive their path and start it again
_MIDDLE = (0.45, 0.55)  # draws that tell what the median is made of


def predict_transfer(
    link: "LinkModel",
    *,
    size_bytes: float,
    direction: str,
    n_draws: int = 2000,
    seed: int = 0,
    rtt_s: float | None = None,
    relay_rtt_s: float = 0.0,
    handshake_round_trips: int = 0,
    hour: float | None = None,
    recent: "Trace | None" = None,
    recent_age_s: float = 0.0,
    congestion: str = "cubic",
    n_flows: int = 1,
    buffer_bytes: float | None = None,
    loss_frac: float = 0.0,
    width: bool = False,
) -> Forecast:
    """Time to move one payload over `link`, started now or at a random moment.

    Parameters
    ----------
    link : LinkModel
        The link as measured.
    size_bytes : float
        Payload, > 0. [bytes]
    direction : {"up", "down"}
        Of the link.
    n_draws : int
        Possible futures.
    rtt_s : float, optional
        Round trip without queues; drawn from the link's measured round trips if not given.
        Where neither is known only the bytes are moved, and `parts` says so. [s]
    relay_rtt_s : float
        Round trip from the link's far end to a relay, on top of the link's own. [s]
    handshake_round_trips : int
        Round trips before the first byte; 0: the connection stands already, and its window
        starts small all the same.
    hour : float, optional
        Local hour of the day; any measured time if not given. [h]
    recent : Trace, optional
        The last minutes of this direction, saturated or as real transfers: the transfer then
        starts `recent_age_s` seconds after them. At a random moment if not given.
    buffer_bytes : float, optional
        Queue before the link; as measured, else 300 kB. [bytes]
    loss_frac : float
        Random loss besides the queue's. Lost probes are not used for it: most of them are
        outages, which the capacity holds already. [fraction]
    width : bool
        Also tell what the width is made of, as `Forecast.width` (`transfer_width` says how);
        draws a second time.

    Returns
    -------
    time : Forecast
        Unit "s". `parts` adds up to the median: "capacity" (the bytes alone), "outages", and
        "round trips": set-up, start of the window, the last answer, and what the sender left
        unused later on.

    Raises
    ------
    FitError
        If the direction was never measured.
    InputError
        If an argument is out of its range, or `recent` holds nothing of this direction.
    """
    positive("size_bytes", size_bytes)
    n_draws = count("n_draws", n_draws)
    rng = np.random.default_rng(seed)
    rtts_s, trips = _round_trips_s(link, rtt_s, n_draws, rng)
    rtts_s = rtts_s + non_negative("relay_rtt_s", relay_rtt_s)
    if buffer_bytes is None:
        buffer_bytes = link.buffer_bytes(direction) or DEFAULT_BUFFER_BYTES
    wire_bits = size_bytes * BITS_PER_BYTE * (1.0 + TCP_IPV4_BYTES / MSS_BYTES)
    asked: dict[str, Any] = {"hour": hour, "recent": recent, "recent_age_s": recent_age_s}
    timed = partial(
        transfer_times_s,
        size_bytes=size_bytes,
        draws=np.arange(n_draws),
        congestion=congestion,
        n_flows=n_flows,
        buffer_bytes=buffer_bytes,
        loss_frac=loss_frac,
        handshake_round_trips=handshake_round_trips,
    )
    paths = _paths_that_last(link, direction, wire_bits, n_draws, rng, asked)
    starts_s = _starts_s(paths, n_draws, rng, recent)
    times_s = timed(paths, starts_s, rtt_s=rtts_s)
    shares: dict[str, float] = {}
    if width:
        known = _paths_that_last(
            settled(link, direction), direction, wire_bits, n_draws, rng, asked | {"n_worlds": 1}
        )
        shares = width_shares(
            times_s,
            timed(paths, starts_s, rtt_s=np.median(rtts_s)),
            timed(known, _starts_s(known, n_draws, rng, recent), rtt_s=rtts_s),
        )
    parts = _parts_s(paths, starts_s, wire_bits, times_s, trips)
    return Forecast(draws=times_s, unit="s", world=paths.world, parts=parts, width=shares)


def _starts_s(
    paths: "CapacityPaths", n_draws: int, rng: "Generator", recent: "Trace | None"
) -> "NDArray[np.float64]":
    """When each transfer starts on its path: now is the path's own start. [s]"""
    if recent is not None:
        return np.zeros(n_draws)
    return rng.uniform(0.0, paths.step_s, n_draws)


def _round_trips_s(
    link: "LinkModel", rtt_s: float | None, n_draws: int, rng: "Generator"
) -> "tuple[NDArray[np.float64], str]":
    """A round trip for each draw, and what `parts` calls their share of the time."""
    if rtt_s is not None:
        return np.full(n_draws, non_negative("rtt_s", rtt_s)), "round trips"
    if link.latency is None:
        return np.zeros(n_draws), "round trips (not measured)"
    return link.draw_rtts_s(n_draws, rng), "round trips"


def _paths_that_last(
    link: "LinkModel",
    direction: str,
    wire_bits: float,
    n_draws: int,
    rng: "Generator",
    asked: "Mapping[str, Any]",
) -> "CapacityPaths":
    """Paths so long that (nearly) all draws end before their path starts again."""
    expected_s = wire_bits / max(link.direction(direction).mean_rate_bps, 1.0)
    if expected_s > _LONGEST_S:
        raise InputError(
            f"size_bytes: expected a payload that this link moves within "
            f"{_LONGEST_S / SECONDS_PER_DAY:g} days, got {wire_bits / BITS_PER_BYTE:g} bytes on "
            "the wire; give it as a backlog of the site, which knows plan and hours too"
        )
    horizon_s = max(4.0 * expected_s, _LEAST_HORIZON_S)
    n_try = min(_PILOT_DRAWS, n_draws)
    for _ in range(_MOST_TRIES):
        step_s = max(_LEAST_STEP_S, float(np.ceil(horizon_s / _FINE_STEPS)))
        paths = link.paths(
            direction, horizon_s=horizon_s, n_draws=n_try, rng=rng, step_s=step_s, **asked
        )
        late = paths.cumulative_bits[:, -1] < wire_bits
        # a path that carries nothing at all would never end, however often it starts again
        dead = bool((paths.cumulative_bits[:, -1] <= 0).any())
        enough = float(late.mean()) <= _LATE_FRAC and not dead
        if enough and n_try == n_draws:
            break
        # the pilot shows the order of magnitude; the full set then shows its own stragglers
        horizon_s *= 1.0 if enough else 3.0
        n_try = n_draws if enough else n_try
    return paths


def _parts_s(
    paths: "CapacityPaths",
    starts_s: "NDArray[np.float64]",
    wire_bits: float,
    times_s: "NDArray[np.float64]",
    trips: str,
) -> dict[str, float]:
    """What the draws around the median are made of, so that the parts add up to the median."""
    order = np.argsort(times_s, kind="stable")
    low = int(_MIDDLE[0] * (order.size - 1))
    middle = order[low : max(int(_MIDDLE[1] * order.size), low + 1)]
    median_s = float(np.quantile(times_s, 0.5, method="inverted_cdf"))
    if not np.isfinite(times_s[middle]).all():
        return {}
    begin, end = starts_s[middle], starts_s[middle] + times_s[middle]
    carried = paths.carried_bits(begin, middle)
    moving_s = paths.time_at_bits_s(carried + wire_bits, middle) - begin
    trips_s = float((times_s[middle] - moving_s).mean())
    outage_s = float(_outage_s(paths, middle, begin, end).mean())
    return {trips: trips_s, "outages": outage_s, "capacity": median_s - trips_s - outage_s}


def _outage_s(
    paths: "CapacityPaths",
    rows: "NDArray[np.int_]",
    begin_s: "NDArray[np.float64]",
    end_s: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Time between `begin_s` and `end_s` in steps that carry nothing. [s]"""
    dead = np.zeros((rows.size, paths.n_steps + 1))
    np.cumsum(np.diff(paths.cumulative_bits[rows], axis=1) == 0, axis=1, out=dead[:, 1:])
    edges = np.arange(paths.n_steps + 1) * paths.step_s
    return np.array([
        (np.interp(b, edges, row) - np.interp(a, edges, row)) * paths.step_s
        for row, a, b in zip(dead, begin_s, end_s, strict=True)
    ])  # fmt: skip
