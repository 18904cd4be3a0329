"""Fit, simulate, fit again: parameters come back within five standard errors."""

from dataclasses import fields

import numpy as np
from score_rows import Row

import linkfit as lf
from linkfit.link.estimation import fit_family
from linkfit.link.families import FAMILIES, draw
from linkfit.link.marginal_fit import find_outages
from linkfit.link.series import MeasuredRuns

TABLE = "Fit, simulate, fit again"
MEASURE = "worst distance / standard error"
MOST_ERRORS = 5.0
LEAST_OUTAGES = 10
OF_OUTAGES = ("share_frac", "mean_s", "mean_up_s")


def family_row(name, rates_bps, *, n_repeats=20):
    """Largest distance of a parameter fitted again, in standard errors of one fit."""
    rng = np.random.default_rng(7)
    law = FAMILIES[name]
    fitted = np.log(fit_family(name, rates_bps).parameters)
    again = np.log([
        fit_family(name, draw(law, tuple(np.exp(fitted)), rates_bps.size, rng)).parameters
        for _ in range(n_repeats)
    ])  # fmt: skip
    error = np.maximum(again.std(axis=0, ddof=1), 1e-6)
    worst = float(np.abs((again - fitted) / error).max())
    return Row(TABLE, name, MEASURE, worst, n_repeats,
               bar_high=MOST_ERRORS)  # fmt: skip


def renewal_row(*, n_seconds=20_000, mean_s=4.0, mean_up_s=60.0, n_repeats=20):
    """Known outages: geometric times with and without service, fitted in many records."""
    rng = np.random.default_rng(8)
    records = [_renewal_bps(n_seconds, mean_s, mean_up_s, rng) for _ in range(n_repeats)]
    again = np.array([[o.mean_s, o.mean_up_s] for o in map(_outages, records)])
    error = again.std(axis=0, ddof=1)
    worst = float(np.abs((again - [mean_s, mean_up_s]) / error).max())
    return Row(TABLE, "known outages", MEASURE, worst, n_repeats, bar_high=MOST_ERRORS)


def _renewal_bps(n_seconds, mean_s, mean_up_s, rng):
    n = int(3 * n_seconds / (mean_s + mean_up_s))
    lengths = np.stack((rng.geometric(1 / mean_up_s, n), rng.geometric(1 / mean_s, n)), axis=1)
    is_up = np.repeat(np.tile([True, False], n), lengths.ravel())[:n_seconds]
    return np.where(is_up, 5e6 * np.exp(0.4 * rng.standard_normal(n_seconds)), 0.0)


def outage_row(link, *, n_futures=40):
    """The same of outages: their share, their mean length and that of the time between."""
    model = lf.fit_link(link.trace)
    known = model.direction(link.direction).marginal.outages
    paths = model.paths(
        link.direction, horizon_s=float(link.runs.rates_bps.size), n_draws=n_futures,
        rng=np.random.default_rng(7), n_worlds=1,
    )  # fmt: skip
    names = [field.name for field in fields(known) if field.name in OF_OUTAGES]
    again = np.array([[getattr(_outages(r), name) for name in names] for r in paths.rates_bps])
    fitted = np.array([getattr(known, name) for name in names])
    error = again.std(axis=0, ddof=1)
    worst = float(np.abs((np.median(again, axis=0) - fitted) / error).max())
    return Row(TABLE, f"outages of {link.name}", MEASURE, worst,
               n_futures, bar_high=MOST_ERRORS)  # fmt: skip


def _outages(rates_bps):
    runs = MeasuredRuns(
        rates_bps=rates_bps, first=np.array([0, rates_bps.size]), start_s=np.array([np.nan])
    )
    return find_outages(runs)


def rows(links, **options):
    """Every family on the first link, and the outages of every link that has ten."""
    rates_bps = links[0].runs.rates_bps
    table = [family_row(name, rates_bps[rates_bps > 0], **options) for name in FAMILIES]
    table.append(renewal_row())
    return table + [
        outage_row(link) for link in links if find_outages(link.runs).n_outages >= LEAST_OUTAGES
    ]
