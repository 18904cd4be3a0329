"""Rows into order: sorted, doubles removed, overlaps cut; each repair counted."""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linkfit.ingest.notes import Notes
from linkfit.ingest.storage import BLOCK_ROWS
from linkfit.ingest.trace import Trace


def tidy(trace: Trace, notes: Notes) -> Trace:
    """`trace` of one file with its rows in order, and the notes of the file on it."""
    return replace(trace, repairs=notes.repairs, findings=notes.findings)


def rises(times_s: NDArray[Any]) -> bool:
    """Whether each time lies after the one before it; in blocks, to stay small."""
    for begin in range(0, times_s.size, BLOCK_ROWS):
        if not (np.diff(times_s[begin : begin + BLOCK_ROWS + 1]) > 0).all():
            return False
    return True
