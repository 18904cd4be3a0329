"""The rates that the report of one test holds."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import TraceError
from linkfit.ingest.iperf3 import read_iperf3

if TYPE_CHECKING:
    from numpy.typing import NDArray


def rates_tested_bps(report: str) -> "NDArray[np.float64]":
    """Payload rates over the seconds of a test, shape (n,); empty where it gave none. [bit/s]"""
    if not report:
        return np.empty(0)
    try:
        return read_iperf3(report, "test", "").throughput.rates_bps
    except TraceError:  # an error report, or cut before its first second
        return np.empty(0)
