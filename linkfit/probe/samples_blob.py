"""An hour of seconds, both directions, as one blob; and the same hour at longer averages."""

import math
from array import array
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

from linkfit.ingest.store_format import GAP, HOUR_S, code_of, pack, rate_of, unpack


@dataclass(frozen=True, slots=True, kw_only=True)
class HourOfSamples:
    """Codes of the cells of one hour: `down` and `up`, each ``3600 / step_s`` long.

    A cell nobody observed is GAP, never 0.
    """

    step_s: int
    down: "array[int]"
    up: "array[int]"

    @classmethod
    def empty(cls, step_s: int = 1) -> Self:
        """An hour of gaps."""
        gaps = [GAP] * (HOUR_S // step_s)
        return cls(step_s=step_s, down=array("H", gaps), up=array("H", gaps))

    @classmethod
    def unpacked(cls, blob: bytes, step_s: int) -> Self:
        """The hour that `packed` wrote."""
        codes = unpack(blob)
        n_cells = HOUR_S // step_s
        return cls(step_s=step_s, down=codes[:n_cells], up=codes[n_cells:])

    def packed(self) -> bytes:
        """All cells down, then all cells up."""
        return pack(self.down + self.up)

    @property
    def n_cells(self) -> int:
        """Cells that were observed."""
        return sum(code != GAP for code in self.down)

    def filled(self, seconds: Iterable[tuple[int, int, int]]) -> Self:
        """The hour with (second of the hour, bytes down, bytes up) in cells that were gaps.

        A cell that is held stays as it is: what was recorded once is never overwritten.
        """
        down, up = array("H", self.down), array("H", self.up)
        for second, down_bytes, up_bytes in seconds:
            cell = second // self.step_s
            if down[cell] == GAP:
                down[cell], up[cell] = code_of(down_bytes), code_of(up_bytes)
        return type(self)(step_s=self.step_s, down=down, up=up)

    def averaged(self, step_s: int) -> Self:
        """The hour in cells of `step_s`; one with less than half of its time observed is a gap."""
        ratio = step_s // self.step_s
        return type(self)(
            step_s=step_s, down=_averaged(self.down, ratio), up=_averaged(self.up, ratio)
        )


def _averaged(codes: "array[int]", ratio: int) -> "array[int]":
    cells = array("H")
    for begin in range(0, len(codes), ratio):
        rates = [rate_of(code) for code in codes[begin : begin + ratio] if code != GAP]
        cells.append(code_of(math.fsum(rates) / len(rates)) if 2 * len(rates) >= ratio else GAP)
    return cells
