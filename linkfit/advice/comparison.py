"""compare_links: which of several links serves a site better, and is the difference real?"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from linkfit._checks import count, non_negative
from linkfit.advice.compared_links import (
    STAND_WORDS,
    LinkComparison,
    NamedLink,
    PairComparison,
    Standing,
    TimeComparison,
    VerdictChange,
)
from linkfit.advice.comparison_rates import compare_rates, record_percentiles
from linkfit.advice.site_scores import chances_of_best, pair_chances, world_shortfalls
from linkfit.advice.verdict import service_stands
from linkfit.errors import InputError
from linkfit.forecast.differences import judged
from linkfit.forecast.evaluation import Evaluator, stream_seed
from linkfit.forecast.outcomes import Evaluation, TaskForecast
from linkfit.forecast.time_differences import forecast_difference

N_PROBES = 1600  # runs of each task: 40 worlds a link, 1600 pairs of them
MOST_LINKS = 8


def compare_links(
    links: Sequence[NamedLink],
    *,
    seed: int = 0,
    start: date | None = None,
    n_probes: int = N_PROBES,
) -> LinkComparison:
    """Set links beside each other, by their rates and by what a site asks of them.

    Parameters
    ----------
    links : sequence of NamedLink
        Two or more, each with a site or none with one; the first is what the others are compared
        with. Sites may differ in their plan.
    seed : int
        Of every draw.
    start : date, optional
        First day of the backlogs; deadlines need it.
    n_probes : int
        Runs looked at for each task.

    Raises
    ------
    InputError
        With fewer than two links, more than eight, or two of one name.

    Notes
    -----
    A difference of rates is real where the two records, drawn again in blocks and moved by the
    drift of a link between days, keep its sign: two-sided at 5 % for the medians and means of
    both directions together (Hochberg), apart from that for the tails together. Where the records
    share less than half of their hours of the day, the spread of their daily patterns (0.15 where
    none was found) widens the ratio. A difference of times is
    judged the same way over pairs of worlds, for all tasks together.
    """
    _checked(links)
    count("n_probes", n_probes)
    evaluations = [_evaluated(one, seed, start, n_probes) for one in links]
    rates = [record_percentiles(one, index, seed) for index, one in enumerate(links)]
    shortfalls = [
        None if evaluation is None else world_shortfalls(evaluation, start)
        for evaluation in evaluations
    ]
    known = [one for one in shortfalls if one is not None]
    best = chances_of_best(known, stream_seed(seed, "compare", "best")) if known else None
    standings = tuple(
        Standing(
            name=one.name,
            month_cost=one.month_cost,
            evaluation=evaluations[i],
            verdicts=_verdicts(evaluations[i]),
            prob_best=None if best is None else best[i],
            rates=tuple(rates[i].items()),
            missing=one.link.missing,
        )
        for i, one in enumerate(links)
    )
    pairs = []
    for i in range(1, len(links)):
        pair = compare_rates(
            links[0], links[i], (rates[0], rates[i]), stream_seed(seed, "pair", str(i))
        )
        first, second = evaluations[0], evaluations[i]
        if first is not None and second is not None:
            pair = _with_site(pair, first, second)
            pair = replace(pair, chances=pair_chances(known[0], known[i]))
        pairs.append(pair)
    site = None if links[0].site is None else links[0].site.name
    return LinkComparison(seed=seed, site=site, standings=standings, pairs=tuple(pairs))


def _checked(links: Sequence[NamedLink]) -> None:
    if not 2 <= len(links) <= MOST_LINKS:
        raise InputError(
            f"links: expected 2 to {MOST_LINKS}, got {len(links)}; name each by its files"
        )
    names = [one.name for one in links]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise InputError(f"names: expected one name a link, got {twice!r} twice; name each apart")
    if len({one.site is None for one in links}) > 1:
        raise InputError("sites: expected a site for every link or for none, got some")
    for one in links:
        if one.month_cost is not None:
            non_negative(f"cost per month of {one.name}", one.month_cost)


def _evaluated(one: NamedLink, seed: int, start: date | None, n_probes: int) -> Evaluation | None:
    if one.site is None:
        return None
    maker = Evaluator(one.link, seed=seed, start=start, n_probes=n_probes)
    return maker.evaluate(one.site, users=False)


def _verdicts(evaluation: Evaluation | None) -> tuple[tuple[str, str], ...]:
    """Each service's verdict as the site is."""
    if evaluation is None:
        return ()
    return tuple(
        (one.service.name, STAND_WORDS[service_stands(one, evaluation.data)])
        for one in evaluation.services
    )


def _with_site(pair: PairComparison, first: Evaluation, second: Evaluation) -> PairComparison:
    """The pair with what the site's services and backlogs are like on either link."""
    others = {(task.service, task.task.name): task for s in second.services for task in s.tasks}
    asked = [task for s in first.services for task in s.tasks if task.task.target_s is not None]
    tasks = [(task, others[task.service, task.task.name]) for task in asked
             if (task.service, task.task.name) in others]  # fmt: skip
    times = [
        _compared(old.service, old.task.name, old.task.target_s, (old, new))
        for old, new in tasks
        if not (old.refused or old.unmeasured or new.refused or new.unmeasured)
    ]
    later = {backlog.backlog.name: backlog for backlog in second.backlogs}
    both = [(one, later[one.backlog.name]) for one in first.backlogs if one.backlog.name in later]
    backlogs = [
        TimeComparison(
            service="",
            name=old.backlog.name,
            target_value=None,
            p50=forecast_difference("median", old.days, new.days, 0.5),
            p95=forecast_difference("95 %", old.days, new.days, 0.95),
        )
        for old, new in both
        if not (old.refused or old.unmeasured or new.refused or new.unmeasured)
    ]
    becomes = dict(_verdicts(second))
    changes = tuple(
        VerdictChange(service=service, first=verdict, second=becomes[service])
        for service, verdict in _verdicts(first)
        if service in becomes and becomes[service] != verdict
    )
    return replace(
        pair,
        times=_judged_times(times),
        backlogs=_judged_times(backlogs),
        verdict_changes=changes,
    )


def _compared(
    service: str, name: str, target_s: float | None, pair: tuple[TaskForecast, TaskForecast]
) -> TimeComparison:
    old, new = pair
    return TimeComparison(
        service=service,
        name=name,
        target_value=target_s,
        p50=forecast_difference("median", old.time, new.time, 0.5),
        p95=forecast_difference("95 %", old.time, new.time, 0.95),
    )


def _judged_times(times: Sequence[TimeComparison]) -> tuple[TimeComparison, ...]:
    """The 95th percentiles judged together, which targets are for; the medians as well."""
    p95 = judged([one.p95 for one in times])
    p50 = judged([one.p50 for one in times])
    return tuple(replace(one, p50=p50[index], p95=p95[index]) for index, one in enumerate(times))
