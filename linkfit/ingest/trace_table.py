"""How a Trace shows itself in a notebook: what was measured, each way, and what was minded."""

from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.html_table import html_table
from linkfit.units import format_count, format_duration, format_rate

if TYPE_CHECKING:
    from numpy.typing import NDArray

_LEVELS = (0.05, 0.5, 0.95)
_HEADINGS = ("what", "samples", "in all", "5 %", "median", "95 %")
_MOST_SOURCES = 5


class ShownTrace:
    """Gives `_repr_html_` to a Trace; adds nothing else."""

    __slots__ = ()

    def _repr_html_(self: Any) -> str:
        rows = [_latency_row(self.latency)] if len(self.latency) else []
        for is_up, words in ((False, "down"), (True, "up")):
            for table, kind in ((self.transfers, "transfers"), (self.throughput, "rates")):
                keep = table.is_up == is_up
                if keep.any():
                    rows.insert(0, _rate_row(f"{kind}, link {words}", table.rates_bps[keep],
                                             float(table.duration_s[keep].sum())))  # fmt: skip
        names = [source.name for source in self.sources[:_MOST_SOURCES]]
        left = len(self.sources) - len(names)
        notes = [f"from {', '.join(names)}{f' and {left} more' if left > 0 else ''}"] * bool(names)
        notes += [f"repaired: {repair.text}" for repair in self.repairs]
        notes += [f"mind: {finding.text}" for finding in self.findings]
        caption = f"Trace from {format_count(len(self.sources), 'source')}"
        return html_table(caption, _HEADINGS, rows, notes)


def _rate_row(what: str, rates_bps: "NDArray[np.float64]", measured_s: float) -> list[str]:
    ends = (format_rate(float(rate)) for rate in np.quantile(rates_bps, _LEVELS))
    return [what, str(rates_bps.size), format_duration(measured_s), *ends]


def _latency_row(latency: Any) -> list[str]:
    """Round trips; a probe that was lost takes for ever."""
    found = np.quantile(latency.rtt_s, _LEVELS, method="inverted_cdf")
    ends = ("lost" if np.isinf(rtt_s) else format_duration(float(rtt_s)) for rtt_s in found)
    n_probes = int(latency.n_probes.sum())
    lost = f"{100 * latency.loss_frac:.2g} % lost"
    return ["round trips", str(n_probes), lost, *ends]
