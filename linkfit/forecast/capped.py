"""Sharing when some transfers have a cap: on the clock of capacity, from event to event.

A cap is a share of the capacity here, that of the mean around the run looked at: the link's
swings are in the clock, and in the seconds in which the link is slow a cap binds less than this.
"""

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

_HIGH, _LOW = 0, 1
_NOTHING_FRAC = 1e-12  # rounding leaves as much where all is shared out


@dataclass(slots=True)
class _Kind:
    """Transfers under way with one cap and one priority: all of them get the same."""

    cap_frac: float
    present: list[tuple[float, int]]  # what each has got when it leaves, which
    got_bits: float = 0.0
    share_frac: float = 0.0


def capped_sharing(
    arrive: Sequence[float],
    size: Sequence[float],
    cap_frac: Sequence[float],
    low: Sequence[bool],
) -> list[float]:
    """Departures from a unit-rate server shared max-min fairly under caps.

    Parameters
    ----------
    arrive : sequence of float
        Clock reading at which each starts; does not decrease.
    size : sequence of float
        What each needs.
    cap_frac : sequence of float
        Most of the capacity that each can use.
    low : sequence of bool
        Those that get only what all others leave.

    Notes
    -----
    A heap for each cap and priority: what of one kind is under way gets the same at any time,
    so that each leaves when its kind has got as much more as it needs.

    Source
    ------
    D. Bertsekas and R. Gallager, "Data Networks", 2nd ed., 1992, section 6.5.2 (max-min fair
    shares; from memory).
    """
    keys = list(zip(map(int, low), cap_frac, strict=True))
    kinds = {key: _Kind(key[1], []) for key in sorted(set(keys))}
    classes = [
        [kind for (waits, _), kind in kinds.items() if waits == priority]
        for priority in (_HIGH, _LOW)
    ]
    own = [kinds[key] for key in keys]
    leave = [0.0] * len(own)
    now_bits = 0.0
    for index, arrival in enumerate(arrive):
        now_bits = _serve(classes, now_bits, arrival, leave)
        kind = own[index]
        heapq.heappush(kind.present, (kind.got_bits + size[index], index))
    _serve(classes, now_bits, float("inf"), leave)
    return leave


def _serve(
    classes: list[list[_Kind]], now_bits: float, until_bits: float, leave: list[float]
) -> float:
    """Serve what is under way until the clock reads `until_bits`; the reading reached."""
    while True:
        kinds = _shares(classes)
        if not kinds:
            return until_bits
        wait, first = min(
            ((kind.present[0][0] - kind.got_bits) / kind.share_frac, n)
            for n, kind in enumerate(kinds)
        )
        step = min(max(wait, 0.0), until_bits - now_bits)
        for kind in kinds:
            kind.got_bits += kind.share_frac * step
        if now_bits + wait > until_bits:
            return until_bits
        now_bits += step
        gone = kinds[first]
        goal, index = heapq.heappop(gone.present)
        leave[index] = now_bits
        # an empty kind may forget: keeps the sums small
        gone.got_bits = goal if gone.present else 0.0


def _shares(classes: list[list[_Kind]]) -> list[_Kind]:
    """Set what each of every kind gets, lowest caps first; the kinds that get something."""
    left, served = 1.0, []
    for kinds in classes:
        n_left = sum(len(kind.present) for kind in kinds)
        for kind in kinds:
            n = len(kind.present)
            if n and left > _NOTHING_FRAC:
                kind.share_frac = min(kind.cap_frac, left / n_left)
                left -= kind.share_frac * n
                n_left -= n
                served.append(kind)
    return served
