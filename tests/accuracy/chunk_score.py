"""Real HTTP downloads over 4G and Wi-Fi: the first 60 % of each link fitted, the rest predicted.

No constant was set on them, so they tell whether the others hold elsewhere. The server's limit of
5 or 50 Mbit/s makes some links steadier than radio alone.
"""

import csv
from collections import defaultdict

import numpy as np
from score_rows import Scored, coverage, joined, one_link, over_links, ratio_to

import linkfit as lf
from linkfit.ingest.trace import Trace

TABLE = "Real downloads over HTTP (nothing was set on them)"
BYTES_PER_KILOBIT = 125.0  # the files count size in kilobits, whatever their notes say
NAIVE = "size over mean rate"


def downloads(folder):
    """{link: Trace}; files of one place and day are one link."""
    files = defaultdict(list)
    for path in sorted((folder / "chunk-downloads").iterdir()):
        with path.open(newline="") as file:
            rows = list(csv.DictReader(file))
        sizes = np.array([float(row["chunk_size"]) for row in rows]) * BYTES_PER_KILOBIT
        took_s = np.array([float(row["delivery_time"]) for row in rows])
        keep = (sizes > 0) & (took_s > 0)
        place = "-".join(path.name.split("-")[:4])
        files[place].append(Trace.from_transfers(sizes[keep], took_s[keep], direction="down"))
    return {place: Trace.merge(traces) for place, traces in files.items()}


def scored_place(trace, *, n_draws=1000):
    """All transfers of the last 40 %."""
    score = lf.backtest(trace, direction="down", n_draws=n_draws)
    parts = [
        Scored(d.covered[:, -1], {"model": d.crps_s, **d.baseline_crps_s}) for d in score.details
    ]
    return joined(parts)


def rows(folder, **options):
    """Each link, then all."""
    found = {name: scored_place(trace, **options) for name, trace in downloads(folder).items()}
    table = []
    for name, scored in found.items():
        table += [
            one_link(TABLE, name, "90 % interval covers", scored, coverage),
            one_link(TABLE, name, "CRPS / size over mean rate", scored, ratio_to(NAIVE)),
        ]
    every = list(found.values())
    return [
        *table,
        over_links(TABLE, "90 % interval covers", every, coverage, np.mean),
        over_links(TABLE, "CRPS / size over mean rate", every, ratio_to(NAIVE), np.median),
    ]
