"""Purchases that the user did not allow or price: the one that would do, evaluated and shown.

They are never chosen: money is spent only within the limits of the site file's prices.
"""

from collections.abc import Callable, Sequence

from linkfit.advice.change import Change
from linkfit.advice.measures import Measure
from linkfit.advice.supply_changes import PLAN_SETTING, POWER_SETTING
from linkfit.advice.tried import Outcome

_PLAN_KEY, _BACKLOG_KEY = "data plan", "backlog "


def serves(setting: str, measure: Measure) -> bool:
    """Is `measure` a target that the purchase of `setting` is for?"""
    if setting == PLAN_SETTING:
        return measure.key == _PLAN_KEY
    return setting == POWER_SETTING and measure.key.startswith(_BACKLOG_KEY)


def offers(
    changes: Sequence[Change],
    before: Outcome,
    evaluate: Callable[[Change], Outcome],
) -> tuple[Outcome, ...]:
    """Of each setting of `changes` the weakest level that alone meets its targets.

    Parameters
    ----------
    changes : sequence of Change
        Purchases that may not be chosen, weakest first within a setting.
    before : Outcome
        The site as it is; a setting none of whose targets is missed gets no offer.
    evaluate : callable
        One change to the Outcome of it alone.

    Returns
    -------
    found : tuple of Outcome
        One a setting: the weakest level that does, else the strongest.
    """
    found = []
    for setting in dict.fromkeys(change.setting for change in changes):
        missed = [m for m in before.measures if serves(setting, m) and not m.met]
        if not missed:
            continue
        for change in _worth_a_look(setting, changes, missed):
            outcome = evaluate(change)
            if does(outcome):
                break
        found.append(outcome)
    return tuple(found)


def does(outcome: Outcome) -> bool:
    """Does a purchase alone meet all targets that it is for?"""
    setting = outcome.changes[0].setting
    return all(measure.met for measure in outcome.measures if serves(setting, measure))


def _worth_a_look(
    setting: str, changes: Sequence[Change], missed: Sequence[Measure]
) -> Sequence[Change]:
    """Levels of `setting`; of plans only those not smaller than what is used."""
    levels = [change for change in changes if change.setting == setting]
    if setting != PLAN_SETTING:
        return levels
    used_bytes = missed[0].value
    return [level for level in levels if level.edits[0].value >= used_bytes] or levels[-1:]
