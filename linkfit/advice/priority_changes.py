"""Changes of who goes first: bulk services whose sending waits while anything else is sent.

They take nothing away from what the service delivers: how much longer it takes is in its own
times, which its targets judge.
"""

from collections.abc import Iterator

from linkfit.advice.change import Change, Cost, source_of
from linkfit.advice.edits import Edit
from linkfit.forecast.load import runs_in_busy_hour, service_classes
from linkfit.site.model import Service, Site
from linkfit.units import BITS_PER_BYTE

# nobody sits and waits for a task with a target of that and more: ITU-T G.1010 has 15 s as
# preferred for bulk data (from memory)
BULK_TARGET_S = 15.0
BULK_BYTES = 100e3  # smaller ones are over before anybody waits behind them
LOWER_EFFORT = source_of("lower effort: RFC 8622")


def priority_changes(site: Site) -> Iterator[Change]:
    """Low priority for every service that may wait and sends something in the busy hour."""
    if len(site.services) < 2:
        return
    for service in site.services:
        if not may_yield(service) or not runs_in_busy_hour(service):
            continue
        # what comes down is put in order by the carrier
        sent = service_classes(service, site.path, "up", service.n_users)
        if not any(flow.mean_bits >= BULK_BYTES * BITS_PER_BYTE for flow in sent):
            continue
        yield Change(
            what="priority of what it sends",
            service=service.name,
            setting=f"{service.name}: priority",
            before_text="normal",
            after_text="low",
            cost_text="what it sends waits in your router while anything else is sent",
            cost=Cost(effort_h=1.0, source=LOWER_EFFORT),
            edits=(
                Edit(editor="service", field="priority", value="low", service=service.name),
            ),
        )  # fmt: skip


def may_yield(service: Service) -> bool:
    """Is it bulk: nothing of it is watched or talked as it comes, and no promise is near?"""
    promised = [task for task in service.tasks if task.must_carry]
    return (
        service.priority == "normal"
        and bool(service.tasks)
        and not any(task.live or task.duration_s > 0 for task in service.tasks)
        and all(task.target_s is None or task.target_s >= BULK_TARGET_S for task in promised)
    )
