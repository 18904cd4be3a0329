from dataclasses import replace

from linkfit.advice.cautions import (
    NO_PROMISE,
    NOT_FOR_ALARMS,
    OPEN_SERVICE,
    PLAN_TERMS,
    POWER_LIMITS,
    cautions,
)
from linkfit.site.hours import Hours, Power
from linkfit.site.model import Site


def test_some_cautions_hold_always_and_power_only_with_power(camp):
    assert cautions(Site(name="hut")) == (NOT_FOR_ALARMS, NO_PROMISE)
    assert cautions(camp) == (NOT_FOR_ALARMS, NO_PROMISE, PLAN_TERMS, OPEN_SERVICE)
    solar = replace(camp, hours=Hours(power=Power(battery_wh=640.0, load_w=13.0)))
    assert cautions(solar)[-1] == POWER_LIMITS


def test_each_says_what_it_must():
    for text, words in (
        (NOT_FOR_ALARMS, ("emergency", "medical", "alarm")),
        (NO_PROMISE, ("no promise",)),
        (PLAN_TERMS, ("hosting", "tethering")),
        (OPEN_SERVICE, ("authentication", "updates")),
        (POWER_LIMITS, ("maker's limits", "electrical code")),
    ):
        assert all(word in text for word in words), text
