"""Tests against several servers, or with several stream counts, told apart.

A far or slow server measures itself, and one TCP stream may be held back by its window or by
loss where four are not: such tests tell only that the link carried at least so much. They are
found by tests that took turns: differences between neighbours in time are free of how the link
itself changed over hours and days.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import stdtr

from linkfit.ingest.trace import DIRECTIONS, TRANSPORTS, Finding, Trace
from linkfit.link.series import GRID_S, measured_runs

if TYPE_CHECKING:
    from numpy.typing import NDArray

SLOW_RATIO = 0.8
MAX_P_VALUE = 0.01
MIN_TURNS = 5  # pairs of neighbours; fewer leave a t quantile above 5.8 for p = 0.01
NEIGHBOURS_S = 3600.0  # further apart, the hour itself may make the difference
MAX_GROUPS = 12
FINDING_KIND = "several servers"
_FLOOR_FRAC = 0.01  # of the median run: a run in an outage has no logarithm
_STREAMS = ("", "one stream", "several streams")  # "": unknown
_TRANSPORT_WORDS = ("", "TCP", "UDP", "passive counts")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Group:
    """The runs of one way of testing; words are empty where that part is unknown."""

    words: tuple[str, str, str]  # peer, transport, streams
    rows: "NDArray[np.bool_]"
    start_s: "NDArray[np.float64]"
    end_s: "NDArray[np.float64]"
    log_rates: "NDArray[np.float64]"


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The slower of two groups against the faster: ratio of their levels and what it rests on.

    `p_value` is two-sided; 1 where fewer than two units stand on either side.
    """

    ratio: float
    p_value: float
    n_units: int

    @property
    def is_clear(self) -> bool:
        """Is the slower one slower by more than chance and by enough to matter?"""
        return self.ratio < SLOW_RATIO and self.p_value < MAX_P_VALUE


def tell_groups_apart(trace: Trace) -> tuple[Trace, tuple[Finding, ...]]:
    """`trace` with slower groups of tests as lower bounds, and what was found.

    Parameters
    ----------
    trace : Trace
        Groups are formed of the saturating samples of each direction by peer, transport and one
        or several streams. An unknown part is not taken to differ from a known one.

    Returns
    -------
    Trace
        The same object where nothing changed.
    tuple of Finding
        One for each slower group, and one for each pair of groups that differ but did not take
        turns, so that the time of day may be the reason: those samples stay as they are.

    Notes
    -----
    Two groups are compared by `compare_turns`, at p < 0.01 shared out over the pairs of groups;
    the slower one must reach less than 0.8 of the other. Only the twelve groups of most runs are
    compared.
    """
    if _one_way(trace):
        return trace, ()
    saturating = np.array(trace.throughput.saturating)
    findings: list[Finding] = []
    for direction in DIRECTIONS:
        groups = _groups(trace, direction)
        slower, told = _slower_groups(groups, direction)
        findings += told
        for index in slower:
            saturating &= ~groups[index].rows
    if (saturating == trace.throughput.saturating).all():
        return trace, tuple(findings)
    return replace(trace, throughput=replace(trace.throughput, saturating=saturating)), tuple(
        findings
    )


def compare_turns(
    start_s: "NDArray[np.float64]",
    end_s: "NDArray[np.float64]",
    log_rates: "NDArray[np.float64]",
    is_second: "NDArray[np.bool_]",
) -> Comparison:
    """The level of the second group over the first, from runs that took turns.

    Parameters
    ----------
    start_s, end_s : array, shape (r,)
        When each run took place; NaN: unknown, the run is left out. [s]
    log_rates : array, shape (r,)
        Logarithm of the mean rate of each run.
    is_second : array of bool, shape (r,)
        Which runs are of the second group.

    Returns
    -------
    Comparison
        `n_units` counts the pairs of turns; `ratio` is 1 without any.

    Notes
    -----
    Runs in a row of one group are one turn, whose unit is its mean: many tests of one moment say
    no more of the other moments. Each turn enters one pair at most, with the turn beside it, by
    runs less than an hour from where they meet; the differences of pairs are tested by Student's
    t. A run that overlaps one of the other group shared the link with it and is left out.
    """
    known = np.isfinite(start_s) & ~_shared_the_link(start_s, end_s, is_second)
    order = np.flatnonzero(known)[np.argsort(start_s[known], kind="stable")]
    start_s, end_s = start_s[order], end_s[order]
    log_rates, is_second = log_rates[order], is_second[order]
    turn = np.concatenate(([0], np.flatnonzero(np.diff(is_second)) + 1, [order.size]))
    differences = []
    index = 0
    while index + 2 < turn.size:
        low, middle, high = turn[index : index + 3].tolist()
        before = slice(low, middle)
        after = slice(middle, high)
        near_before = start_s[middle] - start_s[before] <= NEIGHBOURS_S
        near_after = end_s[after] - end_s[middle - 1] <= NEIGHBOURS_S
        if not (near_before.any() and near_after.any()):
            index += 1
            continue
        rise = log_rates[after][near_after].mean() - log_rates[before][near_before].mean()
        differences.append(float(rise if is_second[middle] else -rise))
        index += 2
    return _t_test(np.array(differences))


def _t_test(differences: "NDArray[np.float64]") -> Comparison:
    n = int(differences.size)
    if n < 2:
        ratio = float(np.exp(differences.mean())) if n else 1.0
        return Comparison(ratio=ratio, p_value=1.0, n_units=n)
    mean = float(differences.mean())
    error = max(float(differences.std(ddof=1)) / np.sqrt(n), 1e-9)
    p_value = 2.0 * float(stdtr(n - 1, -abs(mean) / error))
    return Comparison(ratio=float(np.exp(mean)), p_value=p_value, n_units=n)


def _shared_the_link(
    start_s: "NDArray[np.float64]", end_s: "NDArray[np.float64]", is_second: "NDArray[np.bool_]"
) -> "NDArray[np.bool_]":
    """Runs during which the other group measured too."""
    shared = np.zeros(start_s.size, dtype=bool)
    for mine in (is_second, ~is_second):
        other_start_s = np.sort(start_s[~mine & np.isfinite(start_s)])
        other_end_s = np.sort(end_s[~mine & np.isfinite(start_s)])
        begun = np.searchsorted(other_start_s, end_s[mine] - GRID_S / 2)
        ended = np.searchsorted(other_end_s, start_s[mine] + GRID_S / 2, side="right")
        shared[mine] = begun > ended
    return shared


def _one_way(trace: Trace) -> bool:
    """Can no two samples be known to differ in how they were taken?"""
    samples = trace.throughput
    if not len(samples):
        return True
    same = samples.transport.min() == samples.transport.max()
    same = same and samples.n_streams.min() == samples.n_streams.max()
    return bool(same) and len({s.peer for s in trace.sources if s.peer}) < 2


def _groups(trace: Trace, direction: str) -> list[_Group]:
    """Groups of one direction, those of most runs first."""
    samples = trace.throughput
    keep = samples.saturating & (samples.is_up == (direction == "up"))
    peers = sorted({source.peer for source in trace.sources})
    peer = np.array([peers.index(source.peer) for source in trace.sources])[samples.source]
    streams = np.minimum(samples.n_streams, 2)
    code = (peer * len(TRANSPORTS) + samples.transport) * len(_STREAMS) + streams
    groups = []
    for value in np.unique(code[keep]).tolist():
        rows = keep & (code == value)
        runs = measured_runs(replace(trace, throughput=samples.take(rows)), direction)
        if runs is None:
            continue
        rates_bps = runs.mean_rates_bps
        floor_bps = max(_FLOOR_FRAC * float(np.median(rates_bps)), 1.0)
        rest, stream = divmod(value, len(_STREAMS))
        which_peer, transport = divmod(rest, len(TRANSPORTS))
        groups.append(
            _Group(
                words=(peers[which_peer], _TRANSPORT_WORDS[transport], _STREAMS[stream]),
                rows=rows,
                start_s=runs.start_s,
                end_s=runs.start_s + runs.lengths_s * GRID_S,
                log_rates=np.log(np.maximum(rates_bps, floor_bps)),
            )
        )
    return sorted(groups, key=lambda group: -group.log_rates.size)[:MAX_GROUPS]


def _slower_groups(groups: Sequence[_Group], direction: str) -> tuple[set[int], list[Finding]]:
    """Indices of the groups that are lower bounds, and the findings of all pairs."""
    pairs = [
        (i, j) for i, j in combinations(range(len(groups)), 2) if _differ(groups[i], groups[j])
    ]
    clear: list[tuple[Comparison, int, int]] = []
    findings = []
    for i, j in pairs:
        slow, fast, seen = _ordered(groups, i, j)
        shared_out = replace(seen, p_value=min(seen.p_value * len(pairs), 1.0))
        if seen.n_units >= MIN_TURNS:
            if shared_out.is_clear:
                clear.append((shared_out, slow, fast))
            continue
        findings += _not_in_turns(groups[i], groups[j], direction, len(pairs))
    slower: set[int] = set()
    for seen, slow, fast in sorted(clear, key=lambda found: found[0].p_value):
        if slow not in slower and len(slower) + 1 < len(groups):
            slower.add(slow)
            findings.append(_slower_finding(groups[slow], groups[fast], seen, direction))
    return slower, findings


def _ordered(groups: Sequence[_Group], i: int, j: int) -> tuple[int, int, Comparison]:
    """The slower group, the faster one and how they compare in turns."""
    a, b = groups[i], groups[j]
    seen = compare_turns(
        np.concatenate((a.start_s, b.start_s)),
        np.concatenate((a.end_s, b.end_s)),
        np.concatenate((a.log_rates, b.log_rates)),
        np.repeat([False, True], [a.log_rates.size, b.log_rates.size]),
    )
    if seen.ratio <= 1.0:
        return j, i, seen
    return i, j, replace(seen, ratio=1.0 / seen.ratio)


def _differ(a: _Group, b: _Group) -> bool:
    return any(x != y and x and y for x, y in zip(a.words, b.words, strict=True))


def _name(group: _Group, other: _Group) -> str:
    """What sets `group` apart from `other`, for example "to HOST with one stream"."""
    lead = ("to ", "by ", "with ")
    parts = zip(lead, group.words, other.words, strict=True)
    return " ".join(word + mine for word, mine, theirs in parts if mine and mine != theirs)


def _slower_finding(slow: _Group, fast: _Group, seen: Comparison, direction: str) -> Finding:
    if slow.words[0] != fast.words[0] and slow.words[0] and fast.words[0]:
        reason = "they measure that server, not the link"
    else:
        reason = "something else than the link holds them back"
    return Finding(
        source=direction,
        kind=FINDING_KIND,
        n_samples=int(slow.rows.sum()),
        text=(
            f"{direction}: tests {_name(slow, fast)} reach {seen.ratio:.2g} of those "
            f"{_name(fast, slow)} beside them ({slow.log_rates.size} and {fast.log_rates.size} "
            f"runs, {seen.n_units} pairs of turns): {reason}; taken as lower bounds; "
            f"test {_name(fast, slow)}"
        ),
    )


def _not_in_turns(a: _Group, b: _Group, direction: str, n_pairs: int) -> list[Finding]:
    """What is said of two groups that hardly took turns: nothing unless they differ."""
    low, high = sorted((a, b), key=lambda group: float(group.log_rates.mean()))
    ratio = float(np.exp(low.log_rates.mean() - high.log_rates.mean()))
    if ratio >= SLOW_RATIO:
        return []
    n_low, n_high = low.log_rates.size, high.log_rates.size
    said = (
        f"{direction}: tests {_name(low, high)} reach {ratio:.2g} of those {_name(high, low)} "
        f"({n_low} and {n_high} runs)"
    )
    if min(n_low, n_high) < MIN_TURNS:
        text = f"{said}: too few runs to tell whether that is chance"
    elif _welch_p_value(low.log_rates, high.log_rates) * n_pairs < MAX_P_VALUE:
        text = f"{said}: that cannot be told apart from the time of day"
    else:
        return []
    turns = f"; test in turns, {MIN_TURNS} times or more within an hour of each other"
    n_samples = int(low.rows.sum() + high.rows.sum())
    return [Finding(source=direction, kind=FINDING_KIND, n_samples=n_samples, text=text + turns)]


def _welch_p_value(a: "NDArray[np.float64]", b: "NDArray[np.float64]") -> float:
    """Two-sided p of Welch's t (unequal spreads), runs as units; at least two on each side."""
    part = [max(float(x.var(ddof=1)) / x.size, 1e-18) for x in (a, b)]
    error = np.sqrt(sum(part))
    freedom = sum(part) ** 2 / sum(p**2 / (x.size - 1) for p, x in zip(part, (a, b), strict=True))
    return 2.0 * float(stdtr(freedom, -abs(a.mean() - b.mean()) / error))
