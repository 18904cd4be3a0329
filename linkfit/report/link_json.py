"""What `linkfit fit` tells, as a record for --json; unknown is null."""

from typing import Any

from linkfit.link.futures import DirectionModel
from linkfit.link.latency import LatencyModel
from linkfit.link.model import LinkModel
from linkfit.report.trace_json import plain_value
from linkfit.report.wording import QUANTILES

SCHEMA = "linkfit/fit/1"
_NAMES = ("p05", "p50", "p95")


def fit_record(link: LinkModel) -> dict[str, Any]:
    """The record ``linkfit/fit/1``: figures of the model, not the model; that is `link.save`."""
    return {
        "schema": SCHEMA,
        "seed": link.seed,
        "up": None if link.up is None else _direction(link.up),
        "down": None if link.down is None else _direction(link.down),
        "latency": None if link.latency is None else _latency(link.latency),
        "sources": [source.name for source in link.sources],
        "findings": [plain_value(finding) for finding in link.findings],
        "missing": list(link.missing),
    }


def _direction(model: DirectionModel) -> dict[str, Any]:
    marginal, daily = model.marginal, model.daily
    quantiles = (float(q) for q in marginal.quantile(QUANTILES))
    return {
        "n_tests": model.n_tests,
        "measured_s": model.measured_s,
        "mean_rate_bps": model.mean_rate_bps,
        **{f"{name}_bps": value for name, value in zip(_NAMES, quantiles, strict=True)},
        "families": [plain_value(family) for family in marginal.families],
        "family_fits": marginal.fits,
        "p_value": marginal.p_value,
        "outages": plain_value(marginal.outages),
        "dependence": plain_value(model.dependence),
        "mean_block_s": model.mean_block_s,
        "daily": {
            "found": daily.found,
            "n_days": daily.n_days,
            "timezone": daily.timezone,
            "factor": [round(float(factor), 4) for factor in daily.factor],
            "hours_never_measured": list(daily.hours_never_measured),
        },
        "weekly": plain_value(model.weekly),
        "level": plain_value(model.level),
        "lower_bound_only": model.lower_bound_only,
    }


def _latency(latency: LatencyModel) -> dict[str, Any]:
    found: dict[str, Any] = {
        "n_idle": latency.n_idle,
        "n_loaded": latency.n_loaded,
        "loss_frac": latency.loss_frac,
        "random_loss_frac": latency.random_loss_frac,
        "mean_burst_probes": latency.mean_burst_probes,
    }
    for name, effect in (("up", latency.up_effect), ("down", latency.down_effect)):
        found[f"{name}_rate_effect"] = None if effect is None else plain_value(effect)
    for name, rtts_s in (("idle", latency.idle_rtts_s), ("loaded", latency.loaded_rtts_s)):
        for quantile, level in zip(_NAMES, QUANTILES, strict=True):
            value = None if rtts_s is None else float(rtts_s[round(level * (rtts_s.size - 1))])
            found[f"{name}_{quantile}_s"] = value
    return found
