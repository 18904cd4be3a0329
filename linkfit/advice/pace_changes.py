"""Changes of when and how fast: rate limits, hours, chunk size, uploads at once.

Rules of thumb (common practice, no source): a fixed shaper starts at 85 % of the rate that nine
of ten moments reach. Pieces and numbers at once are those of `linkfit uploads`.
"""

import math
from collections.abc import Iterator

from linkfit.advice.change import Change, Cost, source_of
from linkfit.advice.edits import Edit
from linkfit.advice.link_rates import LinkRates
from linkfit.advice.upload_settings import large_bytes
from linkfit.forecast.chunks import LEAST_BYTES
from linkfit.forecast.hours import Intervals, common_part, day_intervals, site_intervals
from linkfit.site.hours import DayWindow
from linkfit.site.kinds import KINDS
from linkfit.site.model import Backlog, Service, Site, Task
from linkfit.units import format_rate, format_size

SHAPER_FRACS = (0.85, 0.5, 0.25)
SHAPER_LOSSES = (0.01, 0.04, 0.08)
OWN_RATES = source_of("rates of this link, as measured")
OWN_PATH = source_of("limits of the path: site file")
PATIENT_TARGET_S = 3600.0  # nobody sits and waits for a task with a target of an hour or more
NIGHT = DayWindow(start_h=23.0, end_h=6.0)
NOON = DayWindow(start_h=10.0, end_h=16.0)
LEAST_WINDOW_H = 2.0


def pace_changes(site: Site, rates: LinkRates) -> Iterator[Change]:
    """Rate limits, windows, chunks and parallel uploads that this site and link allow."""
    for service in site.services:
        if is_patient(service):
            yield from _service_limits(service, rates)
            yield from _service_windows(site, service)
        for task in service.tasks:
            owner = f"{service.name}: {task.name}"
            where = {"editor": "task", "service": service.name, "task": task.name}
            if not is_bulk(service, task):
                continue
            # what a visitor fetches comes in one answer: only what the server takes is cut
            if task.flow != "out":
                yield from _chunks(site, rates, service.name, owner, task, where)
            yield from _parallel(site, rates, service.name, owner, task, where)
    for backlog in site.backlogs:
        owner, where = f"backlog {backlog.name}", {"editor": "backlog", "name": backlog.name}
        yield from _backlog_limits(rates, backlog)
        yield from _backlog_windows(site, backlog)
        yield from _chunks(site, rates, backlog.name, owner, backlog, where)
        yield from _parallel(site, rates, backlog.name, owner, backlog, where)


def is_patient(service: Service) -> bool:
    """Nobody waits for any task of it: each may wait, or has a target of an hour or more."""
    return bool(service.tasks) and all(
        not task.must_carry or (task.target_s is not None and task.target_s >= PATIENT_TARGET_S)
        for task in service.tasks
    )


def is_bulk(service: Service, task: Task) -> bool:
    """Does it move whole files by a program whose chunks and lanes can be set?"""
    kind = KINDS.get(service.kind)
    if kind is not None and kind.task(task.name) is not None:
        return task.name in kind.bulk
    return task.duration_s == 0 and (task.chunk_bytes is not None or task.per_item_s > 0)


def _rate_bps(rates: LinkRates, flow: str, level: str) -> float:
    """The link's rate at a level ("p05", "p10", "p50") in the direction of a flow."""
    up_bps = float(getattr(rates, f"up_{level}_bps"))
    down_bps = float(getattr(rates, f"down_{level}_bps"))
    return {"out": up_bps, "in": down_bps, "both": min(up_bps, down_bps)}[flow]


def _limits(
    owner: str, what: str, name: str, edit: Edit, now_bps: float | None, p10_bps: float
) -> Iterator[Change]:
    for index, (frac, loss_frac) in enumerate(zip(SHAPER_FRACS, SHAPER_LOSSES, strict=True)):
        level_bps = _nice(frac * p10_bps)
        if level_bps <= 0 or (now_bps is not None and level_bps >= 0.9 * now_bps):
            continue
        yield Change(
            what=what,
            service=name,
            setting=f"{owner}: rate limit",
            before_text="none" if now_bps is None else format_rate(now_bps, 2),
            after_text=format_rate(level_bps, 2),
            cost_text="it takes longer, everything else stays quick",
            cost=Cost(quality_loss_frac=loss_frac, effort_h=0.5, source=OWN_RATES),
            edits=(
                Edit(
                    editor=edit.editor, field="rate_limit_bps", value=level_bps,
                    service=edit.service, name=edit.name,
                ),
            ),
            strength_frac=(index + 1) / len(SHAPER_FRACS),
        )  # fmt: skip


def _nice(number: float) -> float:
    """`number` down to two significant digits, as a person sets a limit."""
    if number <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(number)) - 1)
    return math.floor(number / step) * step


def _service_limits(service: Service, rates: LinkRates) -> Iterator[Change]:
    flows = {task.flow for task in service.tasks}
    flow = flows.pop() if len(flows) == 1 else "both"
    edit = Edit(editor="service", field="rate_limit_bps", value=None, service=service.name)
    p10_bps = _rate_bps(rates, flow, "p10")
    what = f"rate limit of each transfer of {service.name}"
    yield from _limits(service.name, what, service.name, edit, service.rate_limit_bps, p10_bps)


def _backlog_limits(rates: LinkRates, backlog: Backlog) -> Iterator[Change]:
    edit = Edit(editor="backlog", field="rate_limit_bps", value=None, name=backlog.name)
    p10_bps = _rate_bps(rates, backlog.flow, "p10")
    owner = f"backlog {backlog.name}"
    what = f"rate limit of {backlog.name}, all its transfers together"
    yield from _limits(owner, what, backlog.name, edit, backlog.rate_limit_bps, p10_bps)


def quiet_window(site: Site) -> tuple[DayWindow, str] | None:
    """Hours in which bulk work disturbs least while the server is up, and what they are called.

    With battery and panel: the hours of sun. Else the night if the server is up for most of it,
    else the first two hours of its longest stretch; None if nothing is left of them.
    """
    up = site_intervals(site.hours)
    if site.hours.power is not None:
        return (NOON, "hours of sun") if _open_h(up, NOON) >= LEAST_WINDOW_H else None
    if _open_h(up, NIGHT) >= NIGHT.length_h / 2:
        return NIGHT, "night"
    start_h, end_h = max(up, key=lambda pair: pair[1] - pair[0])
    if end_h - start_h < 2 * LEAST_WINDOW_H:
        return None
    return DayWindow(start_h=start_h, end_h=start_h + LEAST_WINDOW_H), "early hours"


def _open_h(up: Intervals, window: DayWindow) -> float:
    """How long the server is up inside `window`. [h]"""
    return sum(end - start for start, end in common_part(up, day_intervals([window])))


def _clock(clock_h: float) -> str:
    minutes = round(clock_h * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _window_change(site: Site, name: str, owner: str, edit: Edit, cost: Cost) -> Iterator[Change]:
    found = quiet_window(site)
    if found is None:
        return
    window, called = found
    yield Change(
        what=f"hours of {name}",
        service=name,
        setting=f"{owner}: hours",
        before_text="at any hour",
        after_text=f"{_clock(window.start_h)} to {_clock(window.end_h)} ({called})",
        cost_text="it waits for those hours",
        cost=cost,
        edits=(
            Edit(
                editor=edit.editor, field="window", value=(window,), service=edit.service,
                name=edit.name,
            ),
        ),
    )  # fmt: skip


def _service_windows(site: Site, service: Service) -> Iterator[Change]:
    if service.window:
        return
    edit = Edit(editor="service", value=None, service=service.name)
    cost = Cost(quality_loss_frac=0.03, effort_h=0.5)
    yield from _window_change(site, service.name, service.name, edit, cost)


def _backlog_windows(site: Site, backlog: Backlog) -> Iterator[Change]:
    if backlog.window:
        return
    edit = Edit(editor="backlog", value=None, name=backlog.name)
    cost = Cost(quality_loss_frac=0.02, effort_h=0.5)
    yield from _window_change(site, backlog.name, f"backlog {backlog.name}", edit, cost)


def _chunks(
    site: Site, rates: LinkRates, name: str, owner: str, holder: Task | Backlog,
    where: dict[str, str],
) -> Iterator[Change]:  # fmt: skip
    """Pieces for items that the path does not carry, or not safely, as they are."""
    limited = site.path.body_limit_bytes is not None or site.path.idle_timeout_s is not None
    sent_bytes = min(holder.chunk_bytes or math.inf, large_bytes(holder))
    if rates.uploads is None or not limited or sent_bytes <= LEAST_BYTES:
        return
    advice = rates.uploads.chunk(site, holder)
    # any size up to the upper end does; whole items, too, where the item itself is that end
    if advice is None or advice.bound == "item" or sent_bytes <= advice.high_bytes:
        return
    yield Change(
        what=f"chunk size of {holder.name}",
        service=name,
        setting=f"{owner}: chunk size",
        before_text="whole files" if holder.chunk_bytes is None
        else format_size(holder.chunk_bytes, 2),
        after_text=format_size(advice.chunk_bytes, 2),
        cost_text="the program must be able to send in pieces",
        cost=Cost(effort_h=1.0, source=OWN_PATH),
        edits=(Edit(field="chunk_bytes", value=advice.chunk_bytes, **where),),
    )  # fmt: skip


def _parallel(
    site: Site, rates: LinkRates, name: str, owner: str, holder: Task | Backlog,
    where: dict[str, str],
) -> Iterator[Change]:  # fmt: skip
    """The number at once that fills the link without keeping the first one waiting."""
    many = isinstance(holder, Backlog) or holder.n_requests > 1
    if rates.uploads is None or not (many or holder.n_parallel > 1):
        return
    advice = rates.uploads.lanes(site, holder)
    if advice is None or advice.n_lanes == holder.n_parallel:
        return
    more = advice.n_lanes > holder.n_parallel
    if more and not many:
        return
    yield Change(
        what=f"transfers at once of {holder.name}",
        service=name,
        setting=f"{owner}: transfers at once",
        before_text=f"{holder.n_parallel}",
        after_text=f"{advice.n_lanes}",
        cost_text="more at once slows the first one" if more
        else "fewer at once waste time between small files",
        cost=Cost(effort_h=0.1 + 0.02 * advice.n_lanes, source=OWN_RATES),
        edits=(Edit(field="n_parallel", value=advice.n_lanes, **where),),
    )  # fmt: skip
