"""What no single value shows: tables of the site file that contradict each other."""

from collections.abc import Mapping, Sequence
from typing import Any

from linkfit.site.entries import BackgroundEntry, TaskEntry
from linkfit.site.hours import DayWindow
from linkfit.site.model import PathLimits
from linkfit.site.place_entries import PathEntry, PlanEntry, PowerEntry
from linkfit.site.plan import Plan
from linkfit.site.price_entries import PricesEntry
from linkfit.site.problems import Place, Problems
from linkfit.site.shown import shown
from linkfit.units import BITS_PER_BYTE, format_duration, format_size

LEAST_MTU_BYTES, MOST_MTU_BYTES = 576.0, 65535.0  # RFC 791: every host takes 576; 16-bit length


def tell_plan(entry: PlanEntry, problems: Problems) -> None:
    """What happens after a cap, and what is carried over, needs a cap; sessions need a step."""
    if entry.sessions_per_day is not None and entry.round_up is None:
        problems.add(("plan", "sessions_per_day"), "expected the step to which each is rounded "
                     'up, got none; add round_up = "1 MB" or take it out')  # fmt: skip
    if problems.left_out(("plan",), "cap") or problems.left_out(("plan",), "tether"):
        return
    capped = entry.cap is not None or entry.tether is not None
    if entry.carry_over and not capped:
        problems.add(("plan", "carry_over"), "expected a cap of which something stays unused, got "
                     'none; add cap = "60 GB" or take carry_over out')  # fmt: skip
    if entry.after_cap is not None and not capped:
        problems.add(("plan", "after_cap"), "expected a cap that it follows, got none; "
                     'add cap = "60 GB" or take after_cap out')  # fmt: skip


def tell_prices(entry: PricesEntry, plan: Plan, problems: Problems) -> bool:
    """Prices of plans differ from the present one's, so that one must stand there, each once."""
    caps = [one.cap for one in entry.plans]
    twice = [cap for cap in caps if caps.count(cap) > 1]
    if twice:
        problems.add(("prices", "plans"), f"expected each plan once, got {format_size(twice[0])} "
                     "twice; keep one of them")  # fmt: skip
    unsure = problems.left_out(("plan",), "cap") or problems.left_out(("plan",), "tether")
    known = plan.cap_bytes is not None and plan.tether_bytes is None and not unsure
    missing = bool(caps) and known and plan.cap_bytes not in caps
    if missing:
        now = format_size(plan.cap_bytes or 0.0)
        problems.add(("prices", "plans"), f"expected the present plan of {now} among them, got "
                     f"{', '.join(map(format_size, caps))}; add it with what it costs now",
                     )  # fmt: skip
    return not twice and not missing


def tell_path(entry: PathEntry, problems: Problems) -> None:
    """A relay's round trip needs a relay, and a packet needs room beside the tunnel's bytes."""
    unsure = problems.left_out(("path",), "entry")
    if entry.relay_rtt is not None and entry.entry != "relay" and not unsure:
        problems.add(("path", "relay_rtt"), f"expected entry = \"relay\" beside it, got "
                     f"{entry.entry!r}; set entry or take relay_rtt out")  # fmt: skip
    if not LEAST_MTU_BYTES <= entry.mtu <= MOST_MTU_BYTES:
        problems.add(("path", "mtu"), f"expected {LEAST_MTU_BYTES:g} B to {MOST_MTU_BYTES:g} B, "
                     f"got {format_size(entry.mtu)}; usual are 1280 B to 1500 B")  # fmt: skip
    elif entry.tunnel_overhead > entry.mtu / 2:
        problems.add(("path", "tunnel_overhead"), "expected at most half of each packet of "
                     f"{entry.mtu:g} B, got {entry.tunnel_overhead:g} B; usual are 40 B to 80 B",
                     )  # fmt: skip


def tell_hours_and_power(data: Mapping[str, Any], problems: Problems) -> None:
    """Up by the clock or up by battery: one decides."""
    if "hours" in data and "power" in data:
        problems.add(("power",), "expected [hours] or [power], got both; keep the one that decides")


def tell_power(entry: PowerEntry, problems: Problems) -> None:
    """What battery and panel say twice, or cannot be."""
    if entry.losses is not None and "panel_yield" in entry.model_fields_set:
        problems.add(("power", "losses"), "expected panel_yield or losses, got both; keep one")
    if entry.load_busy is not None and entry.load_busy < entry.load:
        problems.add(("power", "load_busy"), f"expected at least the load of {entry.load:g} W, got "
                     f"{entry.load_busy:g} W; load is the mean draw")  # fmt: skip
    if entry.inverter == 0:
        problems.add(("power", "inverter"), "expected more than 0, got 0; write 0.96, or leave it "
                     "out")  # fmt: skip


def _minutes(window: DayWindow) -> set[int]:
    """The minutes of the day that a window covers."""
    start = round(window.start_h * 60)
    return {minute % 1440 for minute in range(start, start + round(window.length_h * 60))}


def tell_overlaps(windows: Sequence[DayWindow], place: Place, problems: Problems) -> None:
    """Windows of one list must not share time."""
    taken: set[int] = set()
    for i, window in enumerate(windows):
        minutes = _minutes(window)
        if taken & minutes:
            problems.add((*place, i), f"expected windows apart from each other, got "
                         f"{window.start_h:g} h to {window.end_h:g} h over an earlier one; "
                         "join them")  # fmt: skip
        taken |= minutes


def tell_windows_never_up(
    wanted: Sequence[DayWindow], up: Sequence[DayWindow], place: Place, problems: Problems
) -> None:
    """A window that lies wholly outside the hours of the server never comes."""
    if not wanted or not up:
        return
    up_minutes = set().union(*map(_minutes, up))
    if not up_minutes & set().union(*map(_minutes, wanted)):
        problems.add(place, "expected a time at which the server is up, got one outside [hours]; "
                     "move the window or the hours")  # fmt: skip


def tell_repeated(
    what: str, items: Sequence[tuple[Place, Mapping[str, Any]]], problems: Problems
) -> None:
    """Names tell entries apart, so none may come twice."""
    seen: dict[str, int] = {}
    for n, (place, raw) in enumerate(items, start=1):
        name = raw.get("name")
        if not isinstance(name, str):
            continue
        if name in seen:
            problems.add((*place, "name"), f"expected a name of its own, got {shown(name)} as in "
                         f"{what} {seen[name]}; rename one")  # fmt: skip
        seen.setdefault(name, n)


def tell_targets(
    listed: Sequence[tuple[Place, TaskEntry]], path: PathLimits, problems: Problems
) -> None:
    """Targets that no link can meet, however fast it is."""
    for place, task in listed:
        if task.target is None:
            continue
        if path.entry == "relay" and task.target < path.relay_rtt_s:
            problems.add(
                (*place, "target"),
                f"expected at least the relay's round trip of {format_duration(path.relay_rtt_s)}, "
                f"got {format_duration(task.target)}; no link can meet it",
            )
        if task.remote_rate is None or task.size is None or task.duration:
            continue
        far_end_s = task.size.median * (task.requests or 1) * BITS_PER_BYTE / task.remote_rate
        if far_end_s > task.target:
            problems.add((*place, "target"), f"expected at least the {format_duration(far_end_s)} "
                         "that the far end needs at remote_rate, got "
                         f"{format_duration(task.target)}; no link can meet it")  # fmt: skip


def tell_background_amount(
    entry: BackgroundEntry, known: Sequence[str], place: Place, problems: Problems
) -> bool:
    """One of `per_day` and `per_month`; neither only where a default cause has an amount."""
    if problems.left_out(place, "per_day", "per_month"):
        return False
    if entry.per_day is not None and entry.per_month is not None:
        problems.add((*place, "per_month"), "expected per_day or per_month, got both; keep one")
        return False
    if entry.per_day is None and entry.per_month is None and entry.name not in known:
        problems.add((*place, "per_day"), f"expected an amount, as {shown(entry.name)} is no "
                     'default cause, got nothing; add per_day = "2 MB"')  # fmt: skip
        return False
    return True
