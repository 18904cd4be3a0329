"""predict_transfer: how long one payload takes over a link, as a Forecast."""

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit._checks import count, non_negative, positive
from linkfit.forecast.draws import Forecast
from linkfit.forecast.tcp import transfer_times_s
from linkfit.forecast.tcp_transports import largest_payload_bytes, transport_named
from linkfit.forecast.transfer_parts import parts_s
from linkfit.forecast.transfer_paths import lasting_paths
from linkfit.forecast.transfer_width import settled, width_shares
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.ingest.trace import Trace
    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

DEFAULT_BUFFER_BYTES = 3e5  # common practice: what modems queue where it was not measured
_OPPOSITE = {"up": "down", "down": "up"}
_ANSWER_HORIZON_S = 120.0


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
    n_requests: int = 1,
    n_parallel: int = 1,
    pause_s: float = 0.0,
    server_time_s: float = 0.0,
    answer_bytes: float = 0.0,
    usual_rtt: bool = False,
    transport: str = "tcp",
    congestion: str = "cubic",
    n_flows: int = 1,
    buffer_bytes: float | None = None,
    loss_frac: float = 0.0,
    hold_s: float | None = None,
    width: bool = False,
) -> Forecast:
    """Time to move one payload over `link`, started now or at a random moment.

    Parameters
    ----------
    link : LinkModel
        The link as measured.
    size_bytes : float
        Payload of each request, > 0. [bytes]
    direction : {"up", "down"}
        Of the link.
    n_draws : int
        Possible futures.
    rtt_s : float, optional
        Round trip without queues; drawn from the link's measured round trips if not given.
        Where neither is known only the bytes are moved, and `parts` says so; see `usual_rtt`. [s]
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
    n_requests, n_parallel : int
        Payloads of `size_bytes` on one connection, and how many are under way at once: the next
        is asked for when one has been answered.
    pause_s : float
        From an answer's arrival to the next request on its lane; after a pause longer than the
        retransmission timeout the window has shrunk. [s]
    server_time_s, answer_bytes : float
        What the far end takes for each request [s], and what it then sends the other way, which
        must have been measured. [bytes]
    usual_rtt : bool
        Where no round trip was measured, draw those of cellular links in general.
    transport : {"tcp", "quic"}
        `transfer_times_s` says what they differ in.
    buffer_bytes : float, optional
        Queue before the link; as measured, else 300 kB. [bytes]
    loss_frac : float
        Random loss besides the queue's. Lost probes are not used for it: most of them are
        outages, which the capacity holds already. [fraction]
    hold_s : float, optional
        Packets that wait longer before the link are thrown away, so that an outage ends with a
        timeout; None: they wait through any. [s]
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
    n_draws = count("n_draws", n_draws)
    rng = np.random.default_rng(seed)
    task = _Task(
        size_bytes=positive("size_bytes", size_bytes),
        n_requests=count("n_requests", n_requests),
        n_parallel=min(count("n_parallel", n_parallel), n_requests),
        pause_s=non_negative("pause_s", pause_s),
        server_time_s=non_negative("server_time_s", server_time_s),
        answer_bytes=non_negative("answer_bytes", answer_bytes),
        transport=transport,
    )
    rtts_s, trips = _round_trips_s(link, rtt_s, n_draws, rng, usual_rtt)
    rtts_s = rtts_s + non_negative("relay_rtt_s", relay_rtt_s)
    # a stream of its own: what the far end does leaves the link's futures alone
    answers_s = _answers_s(link, direction, task, rtts_s, np.random.default_rng((seed, 1)))
    if buffer_bytes is None:
        buffer_bytes = link.buffer_bytes(direction) or DEFAULT_BUFFER_BYTES
    asked: dict[str, Any] = {"hour": hour, "recent": recent, "recent_age_s": recent_age_s}
    timed = partial(
        _times_s,
        task=task,
        answers_s=answers_s,
        draws=np.arange(n_draws),
        transport=transport,
        congestion=congestion,
        n_flows=n_flows,
        buffer_bytes=buffer_bytes,
        loss_frac=loss_frac,
        hold_s=hold_s,
        handshake_round_trips=handshake_round_trips,
    )
    idle_s = task.n_waits * float(np.median(rtts_s + answers_s) + task.pause_s)
    drawn = partial(lasting_paths, direction=direction, wire_bits=task.wire_bits, rng=rng,
                    n_draws=n_draws, idle_s=idle_s)  # fmt: skip
    paths = drawn(link, asked=asked)
    starts_s = _starts_s(paths, n_draws, rng, recent)
    times_s = timed(paths, starts_s, rtts_s)
    shares: dict[str, float] = {}
    if width:
        known = drawn(settled(link, direction), asked=asked | {"n_worlds": 1})
        shares = width_shares(
            times_s,
            timed(paths, starts_s, np.median(rtts_s)),
            timed(known, _starts_s(known, n_draws, rng, recent), rtts_s),
        )
    outage_frac = link.direction(direction).marginal.outages.share_frac
    parts = parts_s(paths, starts_s, task.wire_bits, times_s, task.waits(trips), outage_frac)
    return Forecast(draws=times_s, unit="s", world=paths.world, parts=parts, width=shares)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """What one forecast moves."""

    size_bytes: float
    n_requests: int
    n_parallel: int
    pause_s: float
    server_time_s: float
    answer_bytes: float
    transport: str

    @property
    def payload_bytes(self) -> float:
        return self.size_bytes * self.n_requests

    @property
    def wire_bits(self) -> float:
        way = transport_named(self.transport)
        head_frac = way.header_bytes / largest_payload_bytes(way)
        return self.payload_bytes * BITS_PER_BYTE * (1.0 + head_frac)

    @property
    def n_waits(self) -> int:
        """Times that a lane waits for its next request."""
        return -(-self.n_requests // self.n_parallel) - 1

    def waits(self, trips: str) -> str:
        """What `parts` calls all that is neither capacity nor outage."""
        names = [trips]
        names += ["server"] if self.server_time_s or self.answer_bytes else []
        names += ["pauses"] if self.pause_s and self.n_waits else []
        return " and ".join([", ".join(names[:-1]), names[-1]] if names[1:] else names)


def _times_s(
    paths: "CapacityPaths",
    starts_s: "NDArray[np.float64]",
    rtts_s: "NDArray[np.float64] | np.float64",
    *,
    task: _Task,
    answers_s: "NDArray[np.float64]",
    **options: Any,
) -> "NDArray[np.float64]":
    """Times of the whole task: transfers, the far end's work after each, its answers. [s]"""
    times_s = transfer_times_s(
        paths,
        starts_s,
        task.payload_bytes,
        rtts_s,
        n_requests=task.n_requests,
        n_parallel=task.n_parallel,
        gap_s=answers_s + task.pause_s,
        **options,
    )
    return times_s + answers_s


def _answers_s(
    link: "LinkModel",
    direction: str,
    task: _Task,
    rtts_s: "NDArray[np.float64]",
    rng: "Generator",
) -> "NDArray[np.float64]":
    """The far end's work on a request and its answer, besides the round trip, shape (d,). [s]"""
    worked_s = np.full(rtts_s.size, task.server_time_s)
    if task.answer_bytes == 0:
        return worked_s
    back = _OPPOSITE[direction]
    paths = link.paths(back, horizon_s=_ANSWER_HORIZON_S, n_draws=rtts_s.size, rng=rng)
    starts_s = rng.uniform(0.0, _ANSWER_HORIZON_S, rtts_s.size)
    answered_s = transfer_times_s(
        paths,
        starts_s,
        task.answer_bytes,
        rtts_s,
        draws=np.arange(rtts_s.size),
        handshake_round_trips=0,
        transport=task.transport,
    )
    return worked_s + answered_s - rtts_s


def _starts_s(
    paths: "CapacityPaths", n_draws: int, rng: "Generator", recent: "Trace | None"
) -> "NDArray[np.float64]":
    """When each transfer starts on its path: now is the path's own start. [s]"""
    if recent is not None:
        return np.zeros(n_draws)
    return rng.uniform(0.0, paths.step_s, n_draws)


def _round_trips_s(
    link: "LinkModel", rtt_s: float | None, n_draws: int, rng: "Generator", usual: bool
) -> "tuple[NDArray[np.float64], str]":
    """A round trip for each draw, and what `parts` calls their share of the time."""
    if rtt_s is not None:
        return np.full(n_draws, non_negative("rtt_s", rtt_s)), "round trips"
    if link.latency is None and not usual:
        return np.zeros(n_draws), "round trips (not measured)"
    name = "round trips" if link.latency is not None else "round trips (assumed)"
    return link.draw_rtts_s(n_draws, rng), name
