"""What a change moves, in words, from the record of the advice."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from linkfit.advice.reasons import REFUSED
from linkfit.report.page.rounding import said
from linkfit.units import format_share

Record = Mapping[str, Any]
_USUAL_TIME = ": time that 19 of 20 stay within"


def value_text(value: float | None, unit: str) -> str:
    """A value of the record in its unit; null is never, and unknown for a probability."""
    if unit == "probability":
        return "unknown" if value is None else format_share(value)
    return said(math.inf if value is None else value, unit, 2)


def stand_text(moved: Record, key: str) -> str:
    """The value of a measure "before", "after" or "target"; words where the path refuses it."""
    return REFUSED if moved.get(f"refused_{key}") else value_text(moved[key], moved["unit"])


def wanted_text(target: Record) -> str:
    """The target, and the one that holds with the changes where they move it: a larger plan."""
    now, then = stand_text(target, "target"), stand_text(target, "target_after")
    return now if now == then else f"{now}, then {then}"


def shown_moves(gains: Sequence[Record]) -> list[Record]:
    """What moves by more than the luck of the draw and the digits shown."""
    return [
        gain
        for gain in gains
        if not gain["within_noise"] and stand_text(gain, "before") != stand_text(gain, "after")
    ]


def move_text(gain: Record) -> str:
    """One move: "open the grid: 5.9 s to 2.1 s"."""
    worse = "" if gain["better"] else " (worse)"
    name = str(gain["measure"]).removesuffix(_USUAL_TIME)
    return f"{name}: {stand_text(gain, 'before')} to {stand_text(gain, 'after')}{worse}"
