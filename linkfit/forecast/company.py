"""The others around transfers that are looked at: nested, so that less load is a part of more.

Each flow has a field of points of its own. A point has a mark, and is there while its mark is
below the flow's load: taking load away takes points away and moves none of those that stay.
Shared equally, a transfer with fewer others beside it never ends later, so an edit that removes
load never makes a time worse by the luck of other draws.
"""

import math
import zlib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.forecast.sharing import FlowClass

if TYPE_CHECKING:
    from numpy.typing import NDArray

SETTLE_S = 60.0  # of the path before each probe
TOP_LOAD_FRAC = 0.95  # above it the state at the start is what a busy spell has heaped up
_MOST_HEAPED = 100.0  # mean of what one probe finds heaped up: more changes no verdict
# of each flow under way in the steady state, in the mean: that of one flow at the top load
_MOST_PRESENT = TOP_LOAD_FRAC / (1.0 - TOP_LOAD_FRAC)
# arrivals are drawn window by window: few transfers last into the late ones [s]
_FIRST_WINDOW_S, _GROWTH = 4.0, 4
_PRESENT, _HEAPED, _RUNNING = 100, 101, 102
_MANY = 100.0  # so many in the mean differ by a tenth at most: the mean stands for them
_ROOM = 2.0  # drawn ahead of what is asked for, as a factor


@dataclass(frozen=True, slots=True)
class Transfers:
    """Transfers of the others: which probe, start after the probe's own [s], bits; shape (m,).

    `cap_bps` is inf where there is none.
    """

    probe: "NDArray[np.int64]"
    after_s: "NDArray[np.float64]"
    bits: "NDArray[np.float64]"
    low: "NDArray[np.bool_]"
    cap_bps: "NDArray[np.float64]"


def joined(parts: Sequence[Transfers]) -> Transfers:
    """All of `parts` in one."""
    return Transfers(
        np.concatenate([part.probe for part in parts]),
        np.concatenate([part.after_s for part in parts]),
        np.concatenate([part.bits for part in parts]),
        np.concatenate([part.low for part in parts]),
        np.concatenate([part.cap_bps for part in parts]),
    )


@dataclass(frozen=True, slots=True)
class _Points:
    """Points: probe, mark, a uniform and a normal number; shape (m,)."""

    probe: "NDArray[np.int32]"
    mark: "NDArray[np.float32]"
    uniform: "NDArray[np.float32]"
    normal: "NDArray[np.float32]"

    def take(self, which: "NDArray[Any] | slice") -> "_Points":
        return _Points(self.probe[which], self.mark[which], self.uniform[which], self.normal[which])

    @classmethod
    def joined(cls, parts: "Sequence[_Points]") -> "_Points":
        return cls(
            np.concatenate([part.probe for part in parts]),
            np.concatenate([part.mark for part in parts]),
            np.concatenate([part.uniform for part in parts]),
            np.concatenate([part.normal for part in parts]),
        )


@dataclass(frozen=True, slots=True)
class _Found:
    """Points that are there, with the flow of each, shape (m,)."""

    flow: "NDArray[np.int64]"
    points: _Points

    def where(self, keep: "NDArray[np.bool_]") -> "_Found":
        return _Found(self.flow[keep], self.points.take(keep))


class _Field:
    """Points of one flow in one window, drawn in the order of their marks, as far as asked.

    Kept in layers of rising marks, each sorted, so that a light load does not pay for what a
    heavy one had drawn.
    """

    def __init__(self, n_probes: int, key: list[int]) -> None:
        self.limit = 0.0
        self.last = np.zeros(n_probes)
        self.rng = np.random.default_rng(np.random.SeedSequence(key))
        self.beyond: list[_Points] = []
        self.layers: list[tuple[float, _Points]] = []  # lowest mark that it may hold
        self.found: dict[float, list[_Points]] = {}
        self.n_rows = 1

    def below(self, limit: float) -> list[_Points]:
        """All points with marks below `limit`, and hardly any above it."""
        if limit not in self.found:
            self._extend(_rounded_up(limit))
            top = np.nextafter(np.float32(limit), np.float32(np.inf))
            self.found[limit] = [
                points.take(slice(int(np.searchsorted(points.mark, top))))
                for least, points in self.layers
                if least < limit
            ]
        return self.found[limit]

    def _extend(self, limit: float) -> None:
        """One more layer, from the limit so far to the new one."""
        if limit <= self.limit:
            return
        while self.last.min() < limit:
            self._draw()
        every = _Points.joined(self.beyond)
        inside = every.mark < limit
        layer = every.take(inside)
        self.layers.append((self.limit, layer.take(np.argsort(layer.mark, kind="stable"))))
        self.limit, self.beyond = limit, [every.take(~inside)]

    def _draw(self) -> None:
        shape = (self.n_rows, self.last.size)
        marks = self.last + np.cumsum(self.rng.standard_exponential(shape), axis=0)
        probe = np.broadcast_to(np.arange(shape[1], dtype=np.int32), shape)
        self.beyond.append(
            _Points(
                probe.ravel(),
                marks.ravel().astype(np.float32),
                self.rng.random(shape, np.float32).ravel(),
                self.rng.standard_normal(shape, np.float32).ravel(),
            )
        )
        self.last, self.n_rows = marks[-1], min(2 * self.n_rows, 256)


class _Window:
    """The points of all flows in one window, for any loads of them."""

    def __init__(self, number: int, n_probes: int, seed: int) -> None:
        self.number, self.n_probes, self.seed = number, n_probes, seed
        self.fields: dict[tuple[str, int], _Field] = {}

    def below(
        self,
        keys: Sequence[tuple[str, int]],
        weights: "NDArray[np.float64]",
        scale: "NDArray[np.float64]",
        n_held: "NDArray[np.float64]",
        n_enough: "NDArray[np.float64]",
    ) -> _Found:
        """Points with mark below ``weights[flow] * scale[probe] + n_held[flow]``.

        Flows are numbered as in `keys`. Marks above `n_enough` of their flow may be left out.
        """
        limits = np.minimum(weights * float(scale.max()) + n_held, n_enough).tolist()
        parts = [
            (flow, points)
            for flow, (key, limit) in enumerate(zip(keys, limits, strict=True))
            if limit > 0
            for points in self._field(key).below(limit)
        ]
        if not parts:
            return _Found(np.empty(0, np.int64), _NO_POINTS)
        points = _Points.joined([part for _, part in parts])
        flow = np.repeat([k for k, _ in parts], [part.mark.size for _, part in parts])
        found = _Found(flow, points)
        if scale.size < self.n_probes:
            found = found.where(points.probe < scale.size)
        limit = weights[found.flow] * scale[found.points.probe] + n_held[found.flow]
        return found.where(found.points.mark < limit)

    def _field(self, key: tuple[str, int]) -> _Field:
        if key not in self.fields:
            seeds = [self.seed, zlib.crc32(key[0].encode()), key[1], self.number]
            self.fields[key] = _Field(self.n_probes, seeds)
        return self.fields[key]


def _rounded_up(limit: float) -> float:
    """The next limit at or above `limit`: few steps, so that few loads need new draws."""
    return float(_ROOM ** math.ceil(math.log(max(limit, 1e-6), _ROOM)))


_NO_POINTS = _Points(
    np.empty(0, np.int32), np.empty(0, np.float32), np.empty(0, np.float32), np.empty(0, np.float32)
)


class Company:
    """What all others have under way and start around up to `n_probes` transfers.

    The same object answers for any loads and keeps what it drew; its answers depend on the seed
    and on the flows asked for alone, not on what was asked before.
    """

    def __init__(self, n_probes: int, seed: int) -> None:
        self.n_probes, self._seed = n_probes, seed
        self._windows: dict[int, _Window] = {}
        self._uniforms: dict[str, NDArray[np.float64]] = {}
        rng = np.random.default_rng(np.random.SeedSequence([seed, _PRESENT]))
        self._crowd = rng.standard_exponential((2, n_probes))
        self._since = rng.random(n_probes)

    def present(
        self, flows: Sequence[FlowClass], mean_rate_bps: float, busy_s: float, n: int
    ) -> Transfers:
        """What is under way when the minute before each of the first `n` probes begins.

        Notes
        -----
        In M/G/1-PS the numbers under way of all classes are Poisson with the means
        rho_i E / (1 - rho), one exponential E for all: together that is the geometric law.
        Low-priority flows see what the others leave. What a cap holds to a share f of the
        capacity stays longer: rho_i (1 / f - 1) more are there in the mean (Little's law; exact
        for a light load, and too many for a heavy one). A load above the capacity has been
        heaping up for a random part of `busy_s`. Of a flow of `n_sources` users who wait for each
        transfer no more than that are there, the law of the open queue cut off: a closed queue of
        as many users has fewer still (machine repair), so this errs to the slow side.
        """
        low = np.array([flow.low_priority for flow in flows])
        rho = np.array([flow.load_bps for flow in flows]) / mean_rate_bps
        rate = np.array([flow.arrivals_per_s for flow in flows])
        longer = np.maximum(mean_rate_bps / _caps_bps(flows) - 1.0, 0.0)
        parts = []
        above = 0.0
        for level, mine in enumerate((~low, low)):
            own = np.where(mine, rho, 0.0)
            total = above + float(own.sum())
            if not own.any():
                continue
            room = 1.0 - min(total, TOP_LOAD_FRAC)
            scale = self._crowd[level, :n]
            mean = np.minimum(own / room, _MOST_PRESENT)
            held = np.minimum(own * longer, _MOST_HEAPED)
            parts.append(self._found(_PRESENT, flows, mean, scale, held))
            excess = (total - max(TOP_LOAD_FRAC, above)) / float(own.sum())
            if excess > 0:
                heaped = np.where(mine, rate, 0.0) * busy_s * min(excess, 1.0)
                heaped *= min(1.0, _MOST_HEAPED / float(heaped.sum()))
                parts.append(self._found(_HEAPED, flows, heaped, self._since[:n]))
            above = total
        return joined(parts)

    def _found(
        self,
        number: int,
        flows: Sequence[FlowClass],
        weights: "NDArray[np.float64]",
        scale: "NDArray[np.float64]",
        n_held: "NDArray[np.float64] | float" = 0.0,
    ) -> Transfers:
        users = np.array([math.inf if f.n_sources is None else f.n_sources for f in flows])
        # so many unit-rate points hold as many as there are users, but for one draw in 10^12
        n_enough = users + 8.0 * np.sqrt(users) + 20.0
        n_held = np.broadcast_to(n_held, weights.shape)
        found = self._window(number).below(_keys(flows), weights, scale, n_held, n_enough)
        found = _at_most(found, users)
        # what is found under way is length-biased (of a lognormal: its median times
        # exp(sigma^2)), and a uniform part of it is left
        longer = np.exp(_sigma(flows) ** 2)[found.flow]
        bits = _bits(flows, found) * longer * found.points.uniform
        return _transfers(flows, found, np.full(found.flow.size, -SETTLE_S), bits)

    def arrivals(
        self,
        flows: Sequence[FlowClass],
        from_s: "NDArray[np.float64]",
        to_s: "NDArray[np.float64]",
    ) -> Transfers:
        """Poisson arrivals from `from_s` to `to_s` after each probe's start, shape (n,).

        An interval without length leaves its probe out.
        """
        rate = np.array([flow.arrivals_per_s for flow in flows])
        asked = from_s < to_s
        first, last = float(from_s[asked].min()), float(to_s[asked].max())
        no_more, endless = np.zeros(rate.size), np.full(rate.size, np.inf)
        keys = _keys(flows)
        parts = []
        for number, (begin, end) in enumerate(_windows_s(last)):
            if end <= first:
                continue
            length = np.full(from_s.size, end - begin)
            found = self._window(number).below(keys, rate, length, no_more, endless)
            after = begin + (end - begin) * found.points.uniform.astype(np.float64)
            probe = found.points.probe
            inside = (after >= from_s[probe]) & (after < to_s[probe])
            found = found.where(inside)
            parts.append(_transfers(flows, found, after[inside], _bits(flows, found)))
        return joined(parts)

    def running(self, name: str, n_mean: float, n_sources: int, n: int) -> "NDArray[np.float64]":
        """How many streams of `name` each of the first `n` probes meets, shape (n,).

        Notes
        -----
        Poisson, as many users start them by chance (M/G/infinity), cut off at the users there
        are. More in the mean is never fewer for any probe.
        """
        if name not in self._uniforms:
            seeds = [self._seed, _RUNNING, zlib.crc32(name.encode())]
            rng = np.random.default_rng(np.random.SeedSequence(seeds))
            self._uniforms[name] = rng.random(self.n_probes)
        return np.minimum(_poisson(self._uniforms[name][:n], n_mean), n_sources)

    def _window(self, number: int) -> _Window:
        if number not in self._windows:
            self._windows[number] = _Window(number, self.n_probes, self._seed)
        return self._windows[number]


def _at_most(found: _Found, n_users: "NDArray[np.float64]") -> _Found:
    """Of each flow at each probe the points of lowest mark, as many as it has users."""
    points = found.points
    if not points.mark.size or np.isinf(n_users).all():
        return found
    order = np.lexsort((points.mark, found.flow, points.probe))
    pair = points.probe[order].astype(np.int64) * n_users.size + found.flow[order]
    first = np.searchsorted(pair, pair)
    keep = np.empty(order.size, np.bool_)
    keep[order] = np.arange(order.size) - first < n_users[found.flow[order]]
    return found.where(keep)


def _poisson(uniforms: "NDArray[np.float64]", n_mean: float) -> "NDArray[np.float64]":
    """The Poisson numbers of mean `n_mean` at the levels `uniforms`."""
    if n_mean > _MANY:
        return np.full(uniforms.size, n_mean)
    prob = below = math.exp(-n_mean)
    number = np.zeros(uniforms.size)
    top = float(uniforms.max(initial=0.0))
    k = 0
    while below < top and prob > 0.0:
        number += uniforms > below
        k += 1
        prob *= n_mean / k
        below += prob
    return number


def _windows_s(last_s: float) -> Iterator[tuple[float, float]]:
    """Begin and end of each window up to `last_s`."""
    yield -SETTLE_S, 0.0
    begin, end = 0.0, _FIRST_WINDOW_S
    while begin < last_s:
        yield begin, end
        begin, end = end, _GROWTH * end


def _keys(flows: Sequence[FlowClass]) -> list[tuple[str, int]]:
    """Name and place among flows of the same name."""
    seen: Counter[str] = Counter()
    keys = []
    for flow in flows:
        keys.append((flow.name, seen[flow.name]))
        seen[flow.name] += 1
    return keys


def _sigma(flows: Sequence[FlowClass]) -> "NDArray[np.float64]":
    return np.log([flow.spread for flow in flows])


def _caps_bps(flows: Sequence[FlowClass]) -> "NDArray[np.float64]":
    return np.array([math.inf if flow.cap_bps is None else flow.cap_bps for flow in flows])


def _bits(flows: Sequence[FlowClass], found: _Found) -> "NDArray[np.float64]":
    """Lognormal sizes."""
    median = np.array([flow.median_bits for flow in flows])
    spread = np.exp(_sigma(flows)[found.flow] * found.points.normal)
    return np.asarray(median[found.flow] * spread)


def _transfers(
    flows: Sequence[FlowClass],
    found: _Found,
    after_s: "NDArray[np.float64]",
    bits: "NDArray[np.float64]",
) -> Transfers:
    low = np.array([flow.low_priority for flow in flows])[found.flow]
    cap_bps = _caps_bps(flows)[found.flow]
    probe = found.points.probe.astype(np.int64)
    return Transfers(probe, after_s, np.maximum(bits, 1.0), low, cap_bps)
