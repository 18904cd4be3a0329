"""Which settings are worth an evaluation: those that touch what misses its target, then bytes."""

from collections.abc import Sequence

from linkfit.advice.change import Change
from linkfit.advice.measures import Measure
from linkfit.forecast.outcomes import DataForecast, Evaluation

N_WITHOUT_NEED = 8  # where all targets are met, so many settings are still shown, by bytes
LEAST_BYTES_FRAC = 0.01  # of the cycle's data: less cannot turn anything


def by_relevance(
    changes: Sequence[Change], evaluation: Evaluation, measures: Sequence[Measure]
) -> list[list[Change]]:
    """The levels of each setting that can matter, the most relevant setting first.

    Notes
    -----
    A rank without evaluating: 4 for a setting of the very task or backlog that misses its
    target, 2 for one of the same service or of the whole site, and the share that its service
    or cause has in the data of a cycle, doubled where the plan is overrun. Settings of other
    services with less than 1 % of the data are left out.
    """
    unmet = [measure for measure in measures if not measure.met]
    grouped: dict[str, list[Change]] = {}
    for change in changes:
        grouped.setdefault(change.setting, []).append(change)
    ranked = []
    for setting, levels in grouped.items():
        rank = _rank(levels[0], unmet, evaluation.data)
        if rank >= LEAST_BYTES_FRAC:
            ranked.append((-rank, setting, levels))
    ranked.sort(key=lambda entry: entry[:2])
    if not unmet:
        ranked = ranked[:N_WITHOUT_NEED]
    return [levels for _, _, levels in ranked]


def _rank(change: Change, unmet: Sequence[Measure], data: DataForecast) -> float:
    names = [measure.key.removeprefix("task ") for measure in unmet]
    services = {measure.service for measure in unmet}
    rank = bytes_share(change, data)
    if any(measure.key == "data plan" for measure in unmet):
        rank *= 2
    if any(change.setting.startswith(f"{name}: ") for name in names):
        rank += 4
    elif change.service in services - {""} or (change.service == "" and unmet):
        rank += 2
    return rank


def bytes_share(change: Change, data: DataForecast) -> float:
    """Share of a cycle's data that the change's service or cause uses; 1 for the whole site."""
    if change.service == "":
        return 1.0
    medians = [(entry, float(entry.use.quantile(0.5))) for entry in data.ledger]
    total = sum(median for _, median in medians)
    own = sum(m for entry, m in medians if change.service in (entry.service, entry.cause))
    return own / total if total > 0 else 0.0
