"""Real LTE uploads from a car: fitted on some drives, the others predicted."""

import numpy as np
from measured_links import DRIVES
from score_rows import Scored, coverage, joined, one_link, ratio_to

import linkfit as lf
from linkfit.forecast.transfer_backtest import CLASS_EDGES_BYTES, scored_transfers
from linkfit.ingest.trace import Trace

TABLE = "Real uploads over LTE"
LEAST_IN_CLASS = 20
SPLITS = {
    "4 of 5 drives fitted": [tuple(d for d in DRIVES if d != out) for out in DRIVES],
    "3 of 5 drives fitted": [tuple((i + k) % 5 + 1 for k in range(3)) for i in range(5)],
    "1 of 5 drives fitted": [(d,) for d in DRIVES],
}


def scored_split(drives, fitted, *, n_draws=2000, seed=0):
    """{class of size: Scored} of the drives that were not fitted."""
    past = Trace.merge([trace for (_, drive), trace in drives.items() if drive in fitted])
    rest = Trace.merge([trace for (_, drive), trace in drives.items() if drive not in fitted])
    link = lf.fit_link(past, seed=seed)
    rng = np.random.default_rng(seed)
    parts = scored_transfers(link, past.transfers, rest.transfers, "up", n_draws=n_draws, rng=rng)
    return {
        int(np.searchsorted(CLASS_EDGES_BYTES, part.size_bytes, side="right")): Scored(
            part.covered[:, -1], {"model": part.crps_s, **part.baseline_crps_s}
        )
        for part in parts
    }


def rows(drives, splits=SPLITS, **options):
    """By class of size and pooled, for each way to split the drives."""
    table = []
    for name, splitted in splits.items():
        found = [scored_split(drives, fitted, **options) for fitted in splitted]
        for k in sorted({k for by_class in found for k in by_class}):
            scored = joined([by_class[k] for by_class in found if k in by_class])
            low, high = CLASS_EDGES_BYTES[k - 1] / 1e6, CLASS_EDGES_BYTES[k] / 1e6
            label = f"{name}, {low:g}-{high:g} MB"
            bars = {"bar_low": 0.80} if scored.n >= LEAST_IN_CLASS else {}
            table.append(one_link(TABLE, label, "90 % interval covers", scored, coverage, **bars))
        scored = joined([part for by_class in found for part in by_class.values()])
        table += [
            one_link(TABLE, name, "90 % interval covers", scored, coverage,
                     bar_low=0.86, bar_high=0.94),
            one_link(TABLE, name, "CRPS / size over mean rate", scored,
                     ratio_to("size over mean rate"), bar_high=0.75),
            one_link(TABLE, name, "CRPS / past ones of like size", scored,
                     ratio_to("plain replay")),
        ]  # fmt: skip
    return table
