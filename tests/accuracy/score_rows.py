"""Rows of the accuracy table: a figure, how sure it is, and the bar it must reach."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass

import numpy as np

N_REPLICATES = 300
N_BLOCKS = 10
INTERVAL = (0.05, 0.95)


@dataclass(frozen=True)
class Scored:
    """Predicted transfers in order of time: covered (n,) and scores [s] (n,) by forecaster."""

    covered: np.ndarray
    scores: dict

    def take(self, index):
        return Scored(self.covered[index], {k: v[index] for k, v in self.scores.items()})

    @property
    def n(self):
        return self.covered.size


@dataclass(frozen=True)
class Row:
    """One figure; `low` and `high` are its 90 % interval, `bar_low` and `bar_high` its bar."""

    table: str
    name: str
    measure: str
    value: float
    n: int
    low: float | None = None
    high: float | None = None
    bar_low: float | None = None
    bar_high: float | None = None

    @property
    def reached(self):
        """Is the bar reached? None without one."""
        if self.bar_low is None and self.bar_high is None:
            return None
        return (self.bar_low is None or self.value >= self.bar_low) and (
            self.bar_high is None or self.value <= self.bar_high
        )

    def record(self):
        return asdict(self) | {"reached": self.reached}


def coverage(scored):
    """Share of transfers inside their 90 % interval."""
    return float(scored.covered.mean())


def ratio_to(name):
    """Mean score of the model over that of a simple forecast."""

    def ratio(scored):
        return float(scored.scores["model"].mean() / scored.scores[name].mean())

    return ratio


def joined(parts: Sequence[Scored]):
    """All transfers of several links together."""
    names = parts[0].scores
    return Scored(
        np.concatenate([part.covered for part in parts]),
        {name: np.concatenate([part.scores[name] for part in parts]) for name in names},
    )


def one_link(table, name, measure, scored: Scored, figure: Callable, **bars):
    """A figure of one link, with its interval from blocks of neighbouring transfers."""
    rng = np.random.default_rng(1)
    found = [figure(scored.take(_blocks(scored.n, rng))) for _ in range(N_REPLICATES)]
    low, high = np.quantile(found, INTERVAL)
    return Row(table, name, measure, figure(scored), scored.n, float(low), float(high), **bars)


def over_links(
    table, measure, links: Sequence[Scored], figure: Callable, pool: Callable, *, name="all", **bars
):
    """`pool` of a figure over links: links drawn anew, then blocks of transfers inside each."""
    rng = np.random.default_rng(2)
    found = []
    for _ in range(N_REPLICATES):
        drawn = [links[i] for i in rng.integers(len(links), size=len(links))]
        found.append(pool([figure(link.take(_blocks(link.n, rng))) for link in drawn]))
    value = float(pool([figure(link) for link in links]))
    low, high = np.quantile(found, INTERVAL)
    n = sum(link.n for link in links)
    return Row(table, name, measure, value, n, float(low), float(high), **bars)


def _blocks(n, rng):
    """Indices of whole blocks of neighbours, drawn with replacement until there are n."""
    length = max(n // N_BLOCKS, 1)
    starts = rng.integers(n, size=-(-n // length))
    return ((starts[:, None] + np.arange(length)).ravel() % n)[:n]


def table_text(rows: Sequence[Row]):
    """Rows as text, one block a table."""
    lines = []
    table = None
    for row in rows:
        if row.table != table:
            table = row.table
            lines += ["", table, "-" * len(table)]
        interval = "" if row.low is None else f"({row.low:.3f} to {row.high:.3f})"
        bar = _bar_text(row)
        lines.append(
            f"{row.name:<34} {row.measure:<35} {row.value:6.3f} {interval:<17} "
            f"n {row.n:<6} {bar}".rstrip()
        )
    return "\n".join(lines[1:])


def _bar_text(row):
    if row.reached is None:
        return ""
    verdict = "reached" if row.reached else "MISSED"
    if row.bar_low is None:
        return f"at most {row.bar_high:g}: {verdict}"
    if row.bar_high is None:
        return f"at least {row.bar_low:g}: {verdict}"
    return f"{row.bar_low:g} to {row.bar_high:g}: {verdict}"
