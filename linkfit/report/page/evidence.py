"""The evidence behind the answers: tasks, payloads, users, causes of data use."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.user_limits import MOST_USERS
from linkfit.report.advice_figures import ledger_figure, task_figure
from linkfit.report.page.blocks import Block, Paragraph, Picture, Section, Table
from linkfit.report.page.load_figures import payload_figure, users_figure
from linkfit.report.page.rounding import late_end, said, share_range, spread, stated
from linkfit.report.page.verdicts import in_time
from linkfit.report.wording import DIRECTION_WORDS
from linkfit.units import format_count, format_share

if TYPE_CHECKING:
    from linkfit.forecast.outcomes import TaskForecast
    from linkfit.report.page.material import Material, UserLine

_N_CAUSES = 12
_SHOWN_BYTES = (1e5, 1e6, 1e7, 1e8, 1e9)


def tasks_section(found: "Material") -> Section:
    """Every task of every service, as the site is."""
    rows = [
        (f"{of_service.service.name}: {one.task.name}", *_task_cells(one))
        for of_service in found.advice.before.services
        for one in of_service.tasks
    ]
    blocks: list[Block] = [
        Paragraph(
            text="out: the server sends (link up); in: the server receives (link down). The "
            "target is for the 95th percentile, whose 90 % interval stands in brackets. Users: "
            "for how many at most the target holds."
        )
    ]
    if rows:
        blocks.append(
            Table(
                caption="Each task in the busy hour, with everybody on the link",
                header=("task", "flow", "median", "19 of 20 within", "target", "in time", "users"),
                rows=tuple(rows),
                numeric=(2, 3, 4, 5, 6),
            )
        )
    pairs = list(zip(found.advice.before.services, found.advice.after.services, strict=True))
    judged = [one for old, _ in pairs for one in old.tasks
              if one.task.target_s is not None and not one.refused]  # fmt: skip
    if judged:
        late = [one.task.name for one in judged if not one.meets_target]
        n_met = len(judged) - len(late)
        finding = (
            f"Of {format_count(len(judged), 'task')} with a target {n_met} "
            + ("meets" if n_met == 1 else "meet")
            + " it as the site is"
            + (f"; too late: {', '.join(late)}." if late else ".")
        )
        blocks.append(
            Picture(name="task-times", figure=task_figure(pairs), finding=finding,
                    caption="Time of each task, as it is and with the changes")
        )  # fmt: skip
    return Section(key="tasks", title="Times of the tasks", part="evidence", blocks=tuple(blocks))


def _task_cells(one: "TaskForecast") -> tuple[str, ...]:
    target = "none" if one.task.target_s is None else stated(one.task.target_s, "s")
    if one.unmeasured:
        return (one.task.flow, "not known", "not known", target, "not known", "not known")
    share = in_time(one)
    users = "any" if one.n_max_users is None else str(one.n_max_users)
    if one.n_max_users is not None and one.n_max_users >= MOST_USERS:
        users += " or more"
    elif one.n_max_users is not None and one.n_max_users_low != one.n_max_users_high:
        users += f" ({one.n_max_users_low} to {one.n_max_users_high})"
    in_time_text = "refused" if one.refused else "" if share is None else share_range(share)
    return (
        one.task.flow,
        said(float(one.time.quantile(0.5)), "s"),
        late_end(one.time),
        target,
        in_time_text or "no target",
        users,
    )


def payload_section(found: "Material") -> Section:
    """One payload on the free link, by size."""
    sizes = [size for size, _ in next(iter(found.payloads.values()), ())]
    rows = []
    for index, size in enumerate(sizes):
        if size in _SHOWN_BYTES:
            cells = tuple(spread(points[index][1]) for points in found.payloads.values())
            rows.append((stated(size, "bytes"), *cells))
    ways = list(found.payloads)
    middle = sizes.index(1e7)
    finding = " ".join(
        f"10 MB {DIRECTION_WORDS[way]} take {spread(points[middle][1])}."
        for way, points in found.payloads.items()
    )
    blocks: list[Block] = [
        Paragraph(
            text="At any time that was measured, on a new connection, nothing else being sent: "
            "median with the 5 % and 95 % points."
        ),
        Picture(name="payload-times", figure=payload_figure(found.payloads), finding=finding,
                caption="Time to move one payload against its size"),
        Table(
            caption="Time to move one payload",
            header=("payload", *(DIRECTION_WORDS[way] for way in ways)),
            rows=tuple(rows),
            numeric=tuple(range(1, len(ways) + 1)),
        ),
    ]  # fmt: skip
    return Section(key="payloads", title="Transfer time against payload", part="evidence",
                   blocks=tuple(blocks))  # fmt: skip


def users_section(found: "Material") -> Section | None:
    """The 95th percentile against the number of users."""
    if not found.users:
        return None
    numbers = sorted({n for line in found.users for n, _ in line.points})
    rows = tuple(
        (
            f"{line.service.name}: {line.task.name}",
            *(_late_at(line, n) for n in (1, 5, 20, 50)),
            stated(line.task.target_s or 0.0, "s"),
        )
        for line in found.users
    )
    finding = " ".join(_users_finding(line) for line in found.users)
    blocks: list[Block] = [
        Paragraph(
            text="Users of one service are added, all others stay as they are: the time that 19 "
            "of 20 stay within, for the task of each service that is nearest to its target."
        ),
        Picture(name="users", figure=users_figure(found.users), finding=finding,
                caption=f"95th percentile for {numbers[0]} to {numbers[-1]} users"),
        Table(
            caption="Time that 19 of 20 stay within, by number of users",
            header=("service and task", "1 user", "5 users", "20 users", "50 users", "target"),
            rows=rows,
            numeric=(1, 2, 3, 4, 5),
        ),
    ]  # fmt: skip
    return Section(key="users", title="Users against the 95th percentile", part="evidence",
                   blocks=tuple(blocks))  # fmt: skip


def _late_at(line: "UserLine", n_users: int) -> str:
    return next((late_end(time) for n, time in line.points if n == n_users), "")


def _users_finding(line: "UserLine") -> str:
    target_s = line.task.target_s or 0.0
    inside = [n for n, time in line.points if float(time.quantile(0.95)) <= target_s]
    name = f"{line.service.name}, {line.task.name}:"
    if not inside:
        return f"{name} late even with one user."
    if len(inside) == len(line.points):
        return f"{name} in time up to {line.points[-1][0]} users, the most that were tried."
    return f"{name} in time with {max(inside)} users of those tried, late with more."


def ledger_section(found: "Material") -> Section:
    """What spends the data, and what of it can go."""
    data = found.data.data
    order = sorted(data.ledger, key=lambda entry: -float(entry.use.quantile(0.5)))
    total = float(np.sum([entry.use.quantile(0.5) for entry in order])) or 1.0
    rows = []
    for entry in order[:_N_CAUSES]:
        part = float(entry.use.quantile(0.5)) / total
        rows.append(
            (entry.cause, entry.service or "the site", spread(entry.use), format_share(part),
             "yes" if entry.asked_for else "no", "yes" if entry.optional else "no")
        )  # fmt: skip
    top = "; ".join(f"{entry.cause} {spread(entry.use)}" for entry in order[:5])
    blocks: list[Block] = [
        Table(
            caption=f"What uses data in a cycle, the largest {len(rows)} of "
            f"{format_count(len(order), 'cause')}",
            header=("cause", "of", "in a cycle", "share", "asked for", "can go"),
            rows=tuple(rows),
            numeric=(2, 3),
        ),
        Picture(
            name="data-ledger",
            figure=ledger_figure(found.advice.before.data, found.advice.after.data),
            caption="What spends the data, as it is and with the changes",
            finding=f"The largest: {top}.",
        ),
    ]
    if found.data.savings:
        blocks.append(
            Table(
                caption="What can go, and what it saves in a cycle",
                header=("what", "saves"),
                rows=tuple((one.name, spread(one.saved)) for one in found.data.savings[:8]),
                numeric=(1,),
            )
        )
    blocks += _after_cap(found)
    return Section(key="ledger", title="What spends the data", part="evidence",
                   blocks=tuple(blocks))  # fmt: skip


def _after_cap(found: "Material") -> list[Block]:
    """Which services still work at the throttled rate."""
    rate_bps = found.site.plan.throttle_bps
    if rate_bps is None:
        return []
    words = {True: "yes", False: "no", None: "not known"}
    rows = tuple(
        (one.service.name, words[one.works_throttled]) for one in found.advice.before.services
    )
    works = [name for name, word in rows if word == "yes"]
    text = f"After the cap the plan slows the link to {said(rate_bps, 'bit/s', 3)}. " + (
        f"Still in time then: {', '.join(works)}." if works else "No service is in time then."
    )
    table = Table(caption="Does the service work at the throttled rate?",
                  header=("service", "works"), rows=rows)  # fmt: skip
    return [Paragraph(text=text), table]
