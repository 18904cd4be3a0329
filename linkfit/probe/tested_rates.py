"""What the report of one test holds: rates, and what became of datagrams."""

import json
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Datagrams:
    """What became of the datagrams of one test, as the receiver saw it.

    `jitter_s` is the smoothed difference of transit times of RFC 3550 section 6.4.1.
    """

    jitter_s: float
    loss_frac: float


def datagrams_of(report: str) -> Datagrams | None:
    """Jitter and loss of a test of datagrams; None where the report does not tell them."""
    try:
        end = json.loads(report)["end"]
        told = end.get("sum_received") or end["sum"]
        n_sent, n_lost = told["packets"], told["lost_packets"]
        jitter_s = told["jitter_ms"] / 1e3
        if not 0 <= n_lost <= n_sent or n_sent == 0 or not 0 <= jitter_s < float("inf"):
            return None
        return Datagrams(jitter_s=jitter_s, loss_frac=n_lost / n_sent)
    except (ValueError, KeyError, TypeError, AttributeError):  # cut, or of another kind
        return None
