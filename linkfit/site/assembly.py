"""From the tables of the site file to a Site: each table by itself, then what they contradict."""

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from linkfit.errors import InputError
from linkfit.site.background import default_background
from linkfit.site.contradictions import (
    tell_background_amount,
    tell_hours_and_power,
    tell_overlaps,
    tell_path,
    tell_plan,
    tell_power,
    tell_prices,
    tell_repeated,
    tell_targets,
    tell_windows_never_up,
)
from linkfit.site.entries import BackgroundEntry, BacklogEntry, ServiceEntry, SiteFile, TaskEntry
from linkfit.site.entry import Entry
from linkfit.site.hours import Hours, Power
from linkfit.site.kinds import find_kind
from linkfit.site.model import Background, Backlog, PathLimits, Service, Site
from linkfit.site.photo_sizes import photo_size
from linkfit.site.place_entries import HoursEntry, PathEntry, PlanEntry, PowerEntry, SiteEntry
from linkfit.site.plan import USUAL_SESSIONS_PER_DAY, Plan
from linkfit.site.price_entries import PricesEntry
from linkfit.site.prices import PlanPrice, Prices
from linkfit.site.problems import Place, Problems
from linkfit.site.shown import did_you_mean, shown
from linkfit.site.sun import total_loss_frac
from linkfit.site.tasks import image_of, service_tasks, size_law
from linkfit.units import DAYS_PER_MONTH

_E = TypeVar("_E", bound=Entry)


def assemble(data: Mapping[str, Any], problems: Problems) -> Site:
    """The Site that the parsed TOML `data` describes.

    Raises
    ------
    ConfigError
        If anything is wrong; it carries every problem found, in file order.
    """
    _tell_unknown_tables(data, problems)
    place = problems.validated(SiteEntry, data["site"], ("site",)) if "site" in data else None
    plan = _plan(_table(PlanEntry, data, "plan", problems), problems)
    path = _path(_table(PathEntry, data, "path", problems), problems)
    hours = _hours(data, problems)
    prices = _prices(_table(PricesEntry, data, "prices", problems), plan, problems)
    services = _services(data, path, hours, problems)
    background = _background(data, path, problems)
    backlogs = _backlogs(data, hours, problems)
    problems.raise_any()
    assert place is not None
    return Site(
        name=place.name,
        timezone=place.timezone,
        plan=plan,
        path=path,
        hours=hours,
        prices=prices,
        services=services,
        background=background,
        backlogs=backlogs,
    )


def _tell_unknown_tables(data: Mapping[str, Any], problems: Problems) -> None:
    known = list(SiteFile.model_fields)
    for name in data:
        if name not in known:
            hint = did_you_mean(name, known) or "; take it out"
            problems.add((name,), f"expected one of the tables {', '.join(known)}, "
                         f"got {shown(name)}{hint}")  # fmt: skip
    if "site" not in data:
        problems.add(("site",), 'expected a table, got nothing; add [site] with name = "…"')


def _table(model: type[_E], data: Mapping[str, Any], name: str, problems: Problems) -> _E | None:
    return problems.validated(model, data[name], (name,)) if name in data else None


def _tables(
    data: Mapping[str, Any], name: str, place: Place, problems: Problems
) -> list[tuple[Place, dict[str, Any]]]:
    """The items of an array of tables with their places."""
    raw = data.get(name, [])
    title = ".".join(str(part) for part in (*place, name) if isinstance(part, str))
    if not isinstance(raw, list):
        got = f"[{title}]" if isinstance(raw, dict) else shown(raw)
        problems.add((*place, name), f"expected [[{title}]] tables, got {got}; double the brackets")
        return []
    items = []
    for i, item in enumerate(raw):
        if isinstance(item, dict):
            items.append(((*place, name, i), item))
        else:
            problems.add((*place, name, i), f"expected a table, got {shown(item)}; "
                         f"write [[{title}]]")  # fmt: skip
    return items


def _plan(entry: PlanEntry | None, problems: Problems) -> Plan:
    if entry is None:
        return Plan()
    tell_plan(entry, problems)
    usual = USUAL_SESSIONS_PER_DAY
    return Plan(
        cap_bytes=entry.cap,
        counted=entry.counted,
        cycle_day=entry.cycle_day,
        throttle_bps=entry.after_cap.throttle_bps if entry.after_cap else None,
        price_per_gb=entry.after_cap.price_per_gb if entry.after_cap else None,
        tether_bytes=entry.tether,
        carry_over_bytes=entry.carry_over,
        round_up_bytes=entry.round_up,
        sessions_per_day=usual if entry.sessions_per_day is None else entry.sessions_per_day,
    )


def _path(entry: PathEntry | None, problems: Problems) -> PathLimits:
    if entry is None:
        return PathLimits()
    tell_path(entry, problems)
    return PathLimits(
        entry=entry.entry,
        relay_rtt_s=entry.relay_rtt or 0.0,
        tunnel_overhead_bytes=entry.tunnel_overhead,
        body_limit_bytes=entry.body_limit,
        idle_timeout_s=entry.idle_timeout,
        same_link_share_frac=entry.same_link_share,
        keepalive_s=entry.keepalive,
        mtu_bytes=entry.mtu,
        tunnel=entry.tunnel,
    )


def _hours(data: Mapping[str, Any], problems: Problems) -> Hours:
    tell_hours_and_power(data, problems)
    clock = _table(HoursEntry, data, "hours", problems)
    entry = _table(PowerEntry, data, "power", problems)
    if clock is not None:
        tell_overlaps(clock.up, ("hours", "up"), problems)
    return Hours(windows=clock.up if clock else (), power=_power(entry, problems))


def _power(entry: PowerEntry | None, problems: Problems) -> Power | None:
    if entry is None:
        return None
    tell_power(entry, problems)
    arrives = entry.panel_yield if entry.losses is None else 1.0 - total_loss_frac(entry.losses)
    return Power(
        battery_wh=entry.battery,
        load_w=entry.load,
        load_busy_w=None if entry.load_busy is None else max(entry.load_busy, entry.load),
        panel_w=entry.panel,
        sun_hours=entry.sun_hours.mean_h,
        sun_hours_by_month=entry.sun_hours.by_month_h,
        usable_frac=entry.usable,
        yield_frac=arrives * entry.charger,
        output_frac=entry.inverter or 1.0,
    )


def _prices(entry: PricesEntry | None, plan: Plan, problems: Problems) -> Prices:
    if entry is None or not tell_prices(entry, plan, problems):
        return Prices()
    return Prices(
        currency=entry.currency,
        plans=tuple(PlanPrice(cap_bytes=one.cap, month_cost=one.per_month) for one in entry.plans),
        extra_per_gb=entry.extra_per_GB,
        panel_per_w=entry.panel_per_W,
        battery_per_wh=entry.battery_per_Wh,
        most_month_cost=entry.most_per_month,
        most_once_cost=entry.most_once,
    )


def _services(
    data: Mapping[str, Any], path: PathLimits, hours: Hours, problems: Problems
) -> tuple[Service, ...]:
    services = []
    items = _tables(data, "service", (), problems)
    tell_repeated("service", items, problems)
    for place, raw in items:
        listed = _listed_tasks(raw, place, problems)
        tell_targets(listed, path, problems)
        own = {key: value for key, value in raw.items() if key != "task"}
        entry = problems.validated(ServiceEntry, own, place)
        if entry is None:
            _tell_kind(raw, place, problems)
            continue
        tell_windows_never_up(entry.window, hours.windows, (*place, "window"), problems)
        if entry.only_listed_tasks and not raw.get("task"):
            problems.add(
                (*place, "only_listed_tasks"),
                "expected at least one [[service.task]], got none; add one or take this key out",
            )
        service = _service(entry, listed, place, problems)
        if service is not None:
            services.append(service)
    return tuple(services)


def _listed_tasks(
    raw: Mapping[str, Any], place: Place, problems: Problems
) -> list[tuple[Place, TaskEntry]]:
    items = _tables(raw, "task", place, problems)
    tell_repeated("task", items, problems)
    tasks = (
        (task_place, problems.validated(TaskEntry, item, task_place)) for task_place, item in items
    )
    return [(task_place, task) for task_place, task in tasks if task is not None]


def _tell_kind(raw: Mapping[str, Any], place: Place, problems: Problems) -> None:
    """An unknown kind is told even when another key of the service is wrong."""
    if isinstance(raw.get("kind"), str):
        try:
            find_kind(raw["kind"])
        except InputError as error:
            problems.add(place, str(error))


def _service(
    entry: ServiceEntry,
    listed: Sequence[tuple[Place, TaskEntry]],
    place: Place,
    problems: Problems,
) -> Service | None:
    try:
        kind = find_kind(entry.kind)
    except InputError as error:
        problems.add(place, str(error))
        return None
    n_users = entry.users
    if n_users is None and kind.needs_users and not problems.left_out(place, "users"):
        problems.add(
            (*place, "users"),
            f"expected the number of {kind.users_are}, got nothing; add users = 1",
        )
    return Service(
        name=entry.name,
        kind=kind.name,
        n_users=1 if n_users is None else n_users,
        tasks=service_tasks(entry, kind, listed, place, problems),
        rate_limit_bps=entry.rate_limit,
        local_name=entry.local_name,
        window=entry.window,
        priority=entry.priority,
    )


def _background(
    data: Mapping[str, Any], path: PathLimits, problems: Problems
) -> tuple[Background, ...]:
    """The default causes, changed and added to by the file."""
    causes = {cause.name: cause for cause in default_background(path)}
    items = _tables(data, "background", (), problems)
    tell_repeated("background", items, problems)
    for place, raw in items:
        entry = problems.validated(BackgroundEntry, raw, place)
        if entry is None or not tell_background_amount(entry, list(causes), place, problems):
            continue
        known = causes.get(entry.name)
        amount = entry.per_day
        if entry.per_month is not None:
            amount = entry.per_month / DAYS_PER_MONTH
        if amount is None:
            assert known is not None
            amount = known.bytes_per_day
        causes[entry.name] = Background(
            name=entry.name,
            bytes_per_day=amount,
            flow=entry.flow or (known.flow if known else "both"),
            optional=entry.optional if entry.optional is not None else not known or known.optional,
        )
    return tuple(causes.values())


def _backlogs(data: Mapping[str, Any], hours: Hours, problems: Problems) -> tuple[Backlog, ...]:
    backlogs = []
    items = _tables(data, "backlog", (), problems)
    tell_repeated("backlog", items, problems)
    for place, raw in items:
        entry = problems.validated(BacklogEntry, raw, place)
        if entry is None:
            continue
        tell_windows_never_up(entry.window, hours.windows, (*place, "window"), problems)
        image = image_of(entry.photo) if entry.photo else None
        if entry.size is not None:
            size = size_law(entry.size)
        elif image is not None:
            size = photo_size(image)
        else:
            if not problems.left_out(place, "size", "photo"):
                problems.add((*place, "size"), 'expected a value, got nothing; add size = "3.5 MB"')
            continue
        backlogs.append(
            Backlog(
                name=entry.name,
                n_items=entry.items,
                size=size,
                flow=entry.flow,
                resumable=entry.resumable,
                deadline=entry.deadline,
                per_item_s=entry.per_item,
                n_parallel=entry.parallel,
                chunk_bytes=entry.chunk,
                image=image,
                rate_limit_bps=entry.rate_limit,
                window=entry.window,
                arrivals_per_day=entry.arrivals_per_day,
                priority=entry.priority,
            )
        )
    return tuple(backlogs)
