"""Transfers over measured capacity: fitted on the first 60 %, predicted at random times after."""

import numpy as np
from scipy.stats import gmean
from score_rows import Scored, coverage, one_link, over_links, ratio_to

import linkfit as lf
from linkfit.errors import FitError
from linkfit.forecast.backtest_scores import BASELINES
from linkfit.forecast.scores import crps

TABLE = "Transfers over measured capacity"
SIZES_BYTES = (5e5, 5e6, 5e7)
NAIVE, MARGINAL, REPLAY = BASELINES
HINDSIGHT = "hindsight"  # the times that came, as one forecast for all: nobody could have known
TRAIN_FRAC = 0.6
LONG_S = 600  # from here on no link may be covered less than the least bar
MOST_CRPS = {5e5: 0.85, 5e6: 0.80, 5e7: 0.72}


def scored_link(link, *, n_transfers=300, n_draws=2000, seed=0):
    """{size: Scored} of the sizes that end before the trace does."""
    for n_sizes in (3, 2, 1):
        try:
            score = lf.backtest(
                link.trace, sizes_bytes=SIZES_BYTES[:n_sizes], train_frac=TRAIN_FRAC,
                direction=link.direction, n_transfers=n_transfers, n_draws=n_draws, seed=seed,
            )  # fmt: skip
        except FitError:
            continue
        return {d.size_bytes: _scored(d) for d in score.details}
    return {}


def _scored(detail):
    came = {HINDSIGHT: crps(detail.observed_s, detail.observed_s)}
    scores = {"model": detail.crps_s, **detail.baseline_crps_s, **came}
    return Scored(detail.covered[:, -1], scores)


def hindsight_ratio(scored):
    """The least score of any forecast that is the same for all starts, over plain replay's."""
    return float(scored.scores[HINDSIGHT].mean() / scored.scores[REPLAY].mean())


def rows(links, **options):
    """Every link and size, then all links of a size, then all."""
    found = {link.name: scored_link(link, **options) for link in links}
    table = []
    for link in links:
        is_long = TRAIN_FRAC * link.runs.rates_bps.size >= LONG_S
        for size, scored in found[link.name].items():
            label = f"{link.name}, {_mb(size)}"
            least = {"bar_low": 0.70} if is_long else {}
            table += [
                one_link(TABLE, label, "90 % interval covers", scored, coverage, **least),
                one_link(TABLE, label, "CRPS / size over mean rate", scored, ratio_to(NAIVE)),
                one_link(
                    TABLE, label, "CRPS / plain replay", scored, ratio_to(REPLAY), bar_high=1.05
                ),
            ]
    for size in SIZES_BYTES:
        of_size = [found[link.name][size] for link in links if size in found[link.name]]
        table += _pooled(of_size, f"all, {_mb(size)}", MOST_CRPS[size])
    every = [scored for by_size in found.values() for scored in by_size.values()]
    return table + _pooled(every, "all, all sizes", None)


def _pooled(scored, name, most_crps):
    return [
        over_links(TABLE, "90 % interval covers", scored, coverage, np.mean, name=name,
                   bar_low=0.86, bar_high=0.95),
        over_links(TABLE, "CRPS / size over mean rate", scored, ratio_to(NAIVE), np.median,
                   name=name, bar_high=most_crps),
        over_links(TABLE, "CRPS / plain replay", scored, ratio_to(REPLAY), np.median, name=name,
                   bar_high=0.97),
        over_links(TABLE, "CRPS / plain replay, geometric mean", scored, ratio_to(REPLAY), gmean,
                   name=name),
        over_links(TABLE, "hindsight's CRPS / plain replay", scored, hindsight_ratio, np.median,
                   name=name),
        over_links(TABLE, "CRPS / independent rates", scored, ratio_to(MARGINAL), np.median,
                   name=name),
    ]  # fmt: skip


def _mb(size_bytes):
    return f"{size_bytes / 1e6:g} MB"
