"""How a LinkModel shows itself in a notebook: each direction, round trips, what is missing."""

from typing import TYPE_CHECKING, Any

from linkfit.html_table import html_table
from linkfit.units import format_count, format_duration, format_rate

if TYPE_CHECKING:
    from linkfit.link.futures import DirectionModel
    from linkfit.link.latency import LatencyModel

_LEVELS = (0.05, 0.5, 0.95)
_HEADINGS = ("what", "measured", "5 %", "median", "95 %", "still unknown")


class ShownLink:
    """Gives `_repr_html_` to a LinkModel; adds nothing else."""

    __slots__ = ()

    def _repr_html_(self: Any) -> str:
        rows = [
            _direction_row(f"rate of a second, link {name}", getattr(self, name))
            for name in ("up", "down")
        ]
        rows.append(_latency_row(self.latency))
        notes = ["rates hold the headers of the IP layer"]
        notes += [f"mind: {finding.text}" for finding in self.findings]
        notes += [f"not measured: {text}" for text in self.missing]
        return html_table("Link as measured", _HEADINGS, rows, notes)


def _direction_row(what: str, model: "DirectionModel | None") -> list[str]:
    if model is None:
        return [what, "never", "", "", "", "all"]
    measured = f"{format_duration(model.measured_s)} in {format_count(model.n_tests, 'run')}"
    if model.lower_bound_only:
        least = f"at least {format_rate(model.mean_rate_bps)}"
        return [what, measured, "", least, "", "how much more it carries"]
    ends = (format_rate(float(rate)) for rate in model.marginal.quantile(_LEVELS))
    return [what, measured, *ends, f"level by {100 * model.level.unknown_sigma:.2g} % (1 sigma)"]


def _latency_row(latency: "LatencyModel | None") -> list[str]:
    if latency is None:
        return ["round trip, idle", "never", "", "", "", "all"]
    size = latency.idle_rtts_s.size
    ends = (latency.idle_rtts_s[min(int(level * size), size - 1)] for level in _LEVELS)
    doubt = "" if latency.loaded_rtts_s is not None else "round trip while busy"
    return [
        "round trip, idle",
        format_count(latency.n_idle, "probe"),
        *(format_duration(float(end)) for end in ends),
        doubt,
    ]
