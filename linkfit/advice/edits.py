"""Edits of a Site as data: what to set, where, to which value.

Parts that an edit does not touch stay the same objects. An edit says absolute values, never
"half of what is there", so applying it twice changes nothing more, and two edits of different
settings give the same site in either order.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from linkfit._checks import one_of
from linkfit.errors import InputError
from linkfit.site.model import Background, Backlog, Service, Site, Task
from linkfit.site.photo_sizes import resized

TASK_FIELDS = ("size", "per_user_day", "chunk_bytes", "n_parallel")
SERVICE_FIELDS = ("rate_limit_bps", "window", "local_name", "priority")
BACKLOG_FIELDS = ("chunk_bytes", "n_parallel", "rate_limit_bps", "window")
PLAN_FIELDS = ("cap_bytes",)
POWER_FIELDS = ("panel_w", "battery_wh")
IMAGE_FIELDS = ("edge_px", "format", "quality")


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """One entry of `EDITORS` with the names it needs: `service` and `task`, or another `name`."""

    editor: str
    value: Any
    field: str = ""
    service: str = ""
    task: str = ""
    name: str = ""

    def __post_init__(self) -> None:
        one_of("editor", self.editor, tuple(EDITORS))

    def apply(self, site: Site) -> Site:
        """`site` with this one edit; `site` itself where nothing changes.

        Raises
        ------
        InputError
            If the site has no service, task, backlog or cause of the name.
        """
        return EDITORS[self.editor](site, self)


def _swap(
    items: tuple[Any, ...], name: str, change: Callable[[Any], Any], what: str
) -> tuple[Any, ...]:
    """`items` with those called `name` changed, all others the same objects."""
    if not any(item.name == name for item in items):
        known = ", ".join(repr(item.name) for item in items) or "none"
        raise InputError(f"{what}: expected one of {known}, got {name!r}")
    return tuple(_kept(item, change(item)) if item.name == name else item for item in items)


def _kept(before: Any, after: Any) -> Any:
    """`before` itself where the change changed nothing, so that identity tells equality."""
    return before if after == before else after


def _on_service(site: Site, edit: Edit, change: Callable[[Service], Service]) -> Site:
    services = _swap(site.services, edit.service, change, "service")
    return _kept(site, replace(site, services=services))


def _on_task(site: Site, edit: Edit, change: Callable[[Task], Task]) -> Site:
    def changed(service: Service) -> Service:
        tasks = _swap(service.tasks, edit.task, change, f"service {service.name!r}: task")
        return replace(service, tasks=tasks)

    return _on_service(site, edit, changed)


def _on_backlog(site: Site, edit: Edit, change: Callable[[Backlog], Backlog]) -> Site:
    backlogs = _swap(site.backlogs, edit.name, change, "backlog")
    return _kept(site, replace(site, backlogs=backlogs))


def _with_image(holder: Any, edit: Edit) -> Any:
    if holder.image is None:
        raise InputError(f"{holder.name}: expected a stored picture, got none")
    one_of("field", edit.field, IMAGE_FIELDS)
    image = replace(holder.image, **{edit.field: edit.value})
    return replace(holder, image=image, size=resized(holder.size, holder.image, image))


def _set_task(site: Site, edit: Edit) -> Site:
    one_of("field", edit.field, TASK_FIELDS)
    return _on_task(site, edit, lambda task: replace(task, **{edit.field: edit.value}))


def _set_image(site: Site, edit: Edit) -> Site:
    return _on_task(site, edit, lambda task: _with_image(task, edit))


def _set_cache(site: Site, edit: Edit) -> Site:
    def kept_longer(task: Task) -> Task:
        return replace(task, cache=replace(task.cache, lifetime_s=edit.value))

    return _on_task(site, edit, kept_longer)


def _set_service(site: Site, edit: Edit) -> Site:
    one_of("field", edit.field, SERVICE_FIELDS)
    return _on_service(site, edit, lambda service: replace(service, **{edit.field: edit.value}))


def _set_backlog(site: Site, edit: Edit) -> Site:
    one_of("field", edit.field, BACKLOG_FIELDS)
    return _on_backlog(site, edit, lambda backlog: replace(backlog, **{edit.field: edit.value}))


def _set_backlog_image(site: Site, edit: Edit) -> Site:
    return _on_backlog(site, edit, lambda backlog: _with_image(backlog, edit))


def _set_background(site: Site, edit: Edit) -> Site:
    def slower(cause: Background) -> Background:
        return replace(cause, bytes_per_day=edit.value)

    causes = _swap(site.background, edit.name, slower, "background")
    return _kept(site, replace(site, background=causes))


def _set_plan(site: Site, edit: Edit) -> Site:
    one_of("field", edit.field, PLAN_FIELDS)
    return _kept(site, replace(site, plan=replace(site.plan, **{edit.field: edit.value})))


def _set_power(site: Site, edit: Edit) -> Site:
    one_of("field", edit.field, POWER_FIELDS)
    if site.hours.power is None:
        raise InputError(f"{edit.field}: expected a site with battery and panel, got none")
    power = replace(site.hours.power, **{edit.field: edit.value})
    return _kept(site, replace(site, hours=replace(site.hours, power=power)))


def _set_keepalive(site: Site, edit: Edit) -> Site:
    return _kept(site, replace(site, path=replace(site.path, keepalive_s=edit.value)))


def _set_local_names(site: Site, edit: Edit) -> Site:
    """Every service at once: one resolver on the spot serves them all."""
    services = tuple(
        _kept(service, replace(service, local_name=edit.value)) for service in site.services
    )
    return _kept(site, replace(site, services=services))


EDITORS: Mapping[str, Callable[[Site, Edit], Site]] = MappingProxyType(
    {
        "task": _set_task,
        "image": _set_image,
        "cache": _set_cache,
        "service": _set_service,
        "backlog": _set_backlog,
        "backlog image": _set_backlog_image,
        "background": _set_background,
        "plan": _set_plan,
        "power": _set_power,
        "keepalive": _set_keepalive,
        "local names": _set_local_names,
    }
)
