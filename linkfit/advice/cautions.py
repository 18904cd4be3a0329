"""What every answer must say besides its numbers, and which of it applies to a site."""

from linkfit.site.model import Site

NOT_FOR_ALARMS = (
    "Do not rely on this link, or on these forecasts, for emergency calls, medical devices or "
    "alarms."
)
NO_PROMISE = (
    "Measurements describe the past: they are no promise of what the link will do, and forecasts "
    "from few of them are wide for that reason."
)
PLAN_TERMS = (
    "The terms of the data plan may forbid hosting, tethering or a relay; read them before you "
    "depend on it."
)
OPEN_SERVICE = (
    "A service that can be reached from the internet needs authentication and security updates; "
    "count the updates' data in."
)
POWER_LIMITS = (
    "Figures for battery and panel are estimates: keep to the maker's limits and to the local "
    "electrical code."
)
BATTERY_CARE = (
    "Batteries: never below the depth, beyond the current or outside the temperatures that the "
    "maker states, lithium not charged below freezing, a fuse at the terminals; have fixed wiring "
    "done or checked by a licensed electrician."
)
ALWAYS = (NOT_FOR_ALARMS, NO_PROMISE)


def cautions(site: Site) -> tuple[str, ...]:
    """The cautions of this site: some always, others by what it has.

    Services, where there are any, are taken as reachable from the internet, directly or by a
    relay; a plan's terms concern whoever has a plan or a relay.
    """
    found = list(ALWAYS)
    if site.services or site.plan.cap_bytes is not None or site.path.entry == "relay":
        found.append(PLAN_TERMS)
    if site.services:
        found.append(OPEN_SERVICE)
    if site.hours.power is not None:
        found.append(POWER_LIMITS)
    return tuple(found)
