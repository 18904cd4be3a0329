"""Futures of a link as arrays: how many 20 MB uploads of an evening take over a minute."""

from pathlib import Path

import numpy as np

import linkfit as lf

ROOT = Path(__file__).parents[1]


def main() -> None:
    trace = lf.read_trace(ROOT / "traces" / "kestrel-ridge", timezone="Europe/Lisbon")
    link = lf.fit_link(trace, seed=0, timezone="Europe/Lisbon")
    paths = link.paths("up", horizon_s=600.0, n_draws=400, rng=np.random.default_rng(0), hour=20.5)
    draws = np.arange(paths.n_draws)
    for name, futures in (("as measured", paths), ("at half the rate", paths.scaled(0.5))):
        times_s = lf.transfer_times_s(futures, 0.0, 20e6, 0.06, draws=draws, tls=True)
        print(f"{name}: {np.mean(times_s > 60.0):.0%} of 20 MB uploads take over a minute, "
              f"median {np.median(times_s):.0f} s")  # fmt: skip


if __name__ == "__main__":
    main()
