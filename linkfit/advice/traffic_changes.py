"""Changes that take away traffic nobody asked for, or traffic that need not cross the link.

Bytes a cause needs come from the site; what is lost is a judgement (common practice, no source).
"""

from collections.abc import Iterator

from linkfit.advice.change import Change, Cost, source_of
from linkfit.advice.edits import Edit
from linkfit.site.background import DEFAULT_KEEPALIVE_S
from linkfit.site.model import Service, Site, SizeLaw, Task
from linkfit.units import SECONDS_PER_DAY, format_duration, format_share, format_size

POLL_LEAST_PER_DAY = 48  # rarer than each half hour is not a poll
POLL_BYTES = (500.0, 50e3)  # smaller ones keep a connection open and must not become rarer
POLL_INTERVALS = (300.0, 900.0, 3600.0)
POLL_LOSSES = (0.01, 0.03, 0.08)
KEEPALIVE_START_S = 25.0  # just below the 30 s that UDP mappings may live (RFC 9000 10.1.2)
MAPPING_TIMERS = source_of("timers of UDP mappings: RFC 9000 section 10.1.2, RFC 4787 REQ-5")
KEEPALIVE_CAUSE = "tunnel keepalive"
KEEPALIVE_MEASURED = (60.0, 110.0)
# a week's deltas overlap where files are saved again and again; photos alone would not
WEEKLY_DELTA_DAYS = 4.0


def traffic_changes(site: Site) -> Iterator[Change]:
    """Background causes off, polls and keepalives rarer, weekly backups, local names."""
    yield from _background_off(site)
    yield from _local_names(site)
    yield from _keepalive(site)
    for service in site.services:
        for task in service.tasks:
            if is_poll(task):
                yield from _poll_rarer(service, task)
            if _is_daily_backup(service, task):
                yield _weekly(service, task)


def _background_off(site: Site) -> Iterator[Change]:
    for cause in site.background:
        if not cause.optional or cause.bytes_per_day <= 0:
            continue
        yield Change(
            what=f"traffic of {cause.name}",
            service=cause.name,
            setting=f"background {cause.name}",
            before_text=f"{format_size(cause.bytes_per_day, 2)} a day",
            after_text="off",
            cost_text=f"no {cause.name} over this link; do it elsewhere",
            cost=Cost(
                quality_loss_frac=0.02,
                effort_h=0.3,
                source=source_of(f"bytes and that it can go: {cause.source}"),
            ),
            edits=(Edit(editor="background", name=cause.name, value=0.0),),
        )


def _local_names(site: Site) -> Iterator[Change]:
    share_frac = site.path.same_link_share_frac
    if share_frac <= 0 or all(service.local_name for service in site.services):
        return
    yield Change(
        what="local name for clients on the same link",
        service="",
        setting="local name",
        before_text=f"public name ({format_share(share_frac)} of users cross the link twice)",
        after_text="local name (they stay on the spot)",
        cost_text="a resolver on the local network to set up and keep",
        cost=Cost(effort_h=2.0, source=source_of("share on the same link: site file")),
        edits=(Edit(editor="local names", value=True),),
    )


def _keepalive(site: Site) -> Iterator[Change]:
    """A rarer keepalive of the tunnel, and the traffic it makes scaled with it."""
    now_s = site.path.keepalive_s
    if now_s is None and site.path.entry == "relay":
        now_s = DEFAULT_KEEPALIVE_S[site.path.tunnel]
    if now_s is None:
        return
    usual, measured = (Cost(effort_h=h, source=MAPPING_TIMERS) for h in (0.2, 2.0))
    levels = [(KEEPALIVE_START_S, usual, "close to the shortest mapping timers"), *(
        (s, measured, "only if the carrier's mapping timer was measured to be longer")
        for s in KEEPALIVE_MEASURED
    )]  # fmt: skip
    offered = [level for level in levels if level[0] > now_s]
    for keepalive_s, cost, cost_text in offered:
        hellos = tuple(
            Edit(editor="background", name=cause.name,
                 value=cause.bytes_per_day * now_s / keepalive_s)
            for cause in site.background if cause.name == KEEPALIVE_CAUSE
        )  # fmt: skip
        yield Change(
            what="interval of the tunnel's keepalive",
            service=KEEPALIVE_CAUSE,
            setting="keepalive",
            before_text=format_duration(now_s),
            after_text=format_duration(keepalive_s),
            cost_text=cost_text,
            cost=cost,
            edits=(Edit(editor="keepalive", value=keepalive_s), *hellos),
            strength_frac=(1 - now_s / keepalive_s) / (1 - now_s / offered[-1][0]),
        )


def is_poll(task: Task) -> bool:
    """A small question that a machine asks all day and that the service's promise can spare."""
    return (
        not task.must_carry
        and task.per_user_day >= POLL_LEAST_PER_DAY
        and POLL_BYTES[0] <= task.mean_bytes <= POLL_BYTES[1]
    )


def _poll_rarer(service: Service, task: Task) -> Iterator[Change]:
    now_s = SECONDS_PER_DAY / task.per_user_day
    offered = [(s, x) for s, x in zip(POLL_INTERVALS, POLL_LOSSES, strict=True) if s > 1.5 * now_s]
    for interval_s, loss_frac in offered:
        yield Change(
            what=f"interval of {task.name}",
            service=service.name,
            setting=f"{service.name}: {task.name}: interval",
            before_text=format_duration(now_s),
            after_text=format_duration(interval_s),
            cost_text="news and faults are seen later by that much",
            cost=Cost(quality_loss_frac=loss_frac, effort_h=0.2),
            edits=(
                Edit(
                    editor="task", field="per_user_day", value=SECONDS_PER_DAY / interval_s,
                    service=service.name, task=task.name,
                ),
            ),
            strength_frac=(1 - now_s / interval_s) / (1 - now_s / offered[-1][0]),
        )  # fmt: skip


def _is_daily_backup(service: Service, task: Task) -> bool:
    return "backup" in service.kind and task.flow == "out" and 0.5 <= task.per_user_day <= 2


def _weekly(service: Service, task: Task) -> Change:
    size = SizeLaw(
        median_bytes=task.size.median_bytes * task.per_user_day * WEEKLY_DELTA_DAYS,
        spread=task.size.spread,
    )
    where = {"service": service.name, "task": task.name}
    return Change(
        what=f"how often {task.name} runs",
        service=service.name,
        setting=f"{service.name}: {task.name}: how often",
        before_text="every day",
        after_text="once a week",
        cost_text="up to six more days of work are lost with the disk "
        f"(a week's changes taken as {WEEKLY_DELTA_DAYS:g} daily ones)",
        cost=Cost(quality_loss_frac=0.15, effort_h=0.2),
        edits=(
            Edit(editor="task", field="per_user_day", value=1 / 7, **where),
            Edit(editor="task", field="size", value=size, **where),
        ),
    )
