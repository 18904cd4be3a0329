"""Interface counters watched once a second: bytes of each second, and what is no second.

A counter tells what passed since the last look, and only that: a missed look, a clock that was
set, a reset or a wrap decide whether those bytes are a second's rate, bytes of use, or nothing.
"""

from dataclasses import dataclass

from linkfit.probe.interface import Counters

_WRAP = 2**32  # counters of 32 bits
_SHORTEST_S, _LONGEST_S = 0.5, 1.5  # between looks, for their bytes to be one second's
MOST_BYTES_PER_S = 12.5e9  # 100 Gbit/s: more in a second is a driver's nonsense
_MOST_WRAPPED_BYTES_PER_S = 1.25e9  # 10 Gbit/s: a larger step back is a reset, not a wrap
_CLOCK_STEP_S = 0.5  # wall clock against the clock that runs on


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """The counters at a moment; None where the interface is gone or says nonsense.

    `running_s` is of a clock that goes on through suspend and is never set.
    """

    wall_s: float
    running_s: float
    counters: Counters | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """What passed between two looks.

    `second` is the whole second since 1970 that `down_bytes` and `up_bytes` are the rate of; None
    where they are bytes of use only. `why` names what made it no second ("" if nothing did).
    """

    second: int | None
    down_bytes: int
    up_bytes: int
    why: str = ""


def what_passed(before: Look, now: Look) -> Passed:
    """Bytes between two looks, and whether they are a second's rate.

    Notes
    -----
    A counter below 2^32 that falls has wrapped if what it then counted is at most 10 Gbit/s of
    the time that passed, and the other counter did not fall as well; else the interface was
    reset, and what it counted since is use (a lower bound), not a rate.
    """
    if before.counters is None or now.counters is None:
        return Passed(second=None, down_bytes=0, up_bytes=0, why="interface gone")
    elapsed_s = max(now.running_s - before.running_s, 0.0)
    old = (before.counters.received_bytes, before.counters.sent_bytes)
    new = (now.counters.received_bytes, now.counters.sent_bytes)
    if min(new) < 0:
        return Passed(second=None, down_bytes=0, up_bytes=0, why="nonsense from the driver")
    why, grown = _grown(old, new, elapsed_s)
    down_bytes, up_bytes = grown
    if max(grown) > MOST_BYTES_PER_S * max(elapsed_s, 1.0):
        return Passed(second=None, down_bytes=0, up_bytes=0, why="nonsense from the driver")
    stepped_s = (now.wall_s - before.wall_s) - elapsed_s
    if abs(stepped_s) > _CLOCK_STEP_S:
        why = why or ("clock set forward" if stepped_s > 0 else "clock set back")
    elif not _SHORTEST_S <= elapsed_s <= _LONGEST_S:
        why = why or "not looked at"
    if why not in ("", "counter wrapped"):
        return Passed(second=None, down_bytes=down_bytes, up_bytes=up_bytes, why=why)
    # the second that holds the middle between both looks: late ones do not move it
    return Passed(
        second=int((now.wall_s - elapsed_s / 2) // 1),
        down_bytes=round(down_bytes / elapsed_s), up_bytes=round(up_bytes / elapsed_s), why=why,
    )  # fmt: skip


def _grown(
    old: tuple[int, int], new: tuple[int, int], elapsed_s: float
) -> tuple[str, tuple[int, int]]:
    """Why the counters are not simply higher ("" if they are), and what passed."""
    fell = [after < before for before, after in zip(old, new, strict=True)]
    if not any(fell):
        return "", (new[0] - old[0], new[1] - old[1])
    wrapped = (new[0] - old[0]) % _WRAP, (new[1] - old[1]) % _WRAP
    most = _MOST_WRAPPED_BYTES_PER_S * max(elapsed_s, 1.0)
    if not all(fell) and max(old) < _WRAP and max(wrapped) <= min(most, _WRAP // 2):
        return "counter wrapped", wrapped
    return "interface reset", new
