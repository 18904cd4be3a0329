"""What each size and encoder of stored pictures brings: bytes, times, users, data a month."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from linkfit.forecast.draws import Forecast
from linkfit.forecast.load import directions
from linkfit.forecast.user_limits import bears_load
from linkfit.site.model import IMAGE_FORMATS, Image, Service, Site, SizeLaw, Task
from linkfit.site.photo_sizes import resized

if TYPE_CHECKING:
    from linkfit.forecast.evaluation import Evaluator

PHOTO_EDGES_PX = (720, 1080, 1440, 1920, 2560)
THUMBNAIL_EDGES_PX = (250, 360, 512)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoChoice:
    """One way to store the pictures of a task.

    Parameters
    ----------
    image : Image
        Long edge, encoder, quality.
    size : SizeLaw
        Of one picture. [bytes]
    time : Forecast
        Of the task at the busy hour. [s]
    prob_within_target : float or None
        Chance to be in time; None without a target.
    n_max_users, n_max_users_low, n_max_users_high : int or None
        Users of the service for whom the target holds, and the ends of the 90 % interval.
    month : Forecast
        What the task spends of the plan in a billing cycle. [bytes]
    cycle : Forecast
        The same of the whole site. [bytes]
    present : bool
        As the site is.
    """

    image: Image
    size: SizeLaw
    time: Forecast
    prob_within_target: float | None
    n_max_users: int | None
    n_max_users_low: int | None
    n_max_users_high: int | None
    month: Forecast
    cycle: Forecast
    present: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoTable:
    """All choices of one task, the present one first, then from small to large."""

    service: Service
    task: Task
    choices: tuple[PhotoChoice, ...]


def photo_tables(
    site: Site, evaluator: "Evaluator", *, edges_px: Sequence[int] = (), quality: int | None = None
) -> tuple[PhotoTable, ...]:
    """A table for each task that sends stored pictures; none if no task does.

    Parameters
    ----------
    evaluator : Evaluator
        Makes all forecasts, with the same futures for every choice.
    edges_px : sequence of int
        Long edges of photos besides those of the ladder. [px]
    quality : int, optional
        Of all choices but the present one; the present quality if not given.

    Notes
    -----
    Sizes follow the law measured on an open photo set, from the site's own size by the ratio of
    the law at the two settings (linkfit.site.photo_sizes).
    """
    tables = []
    for service in site.services:
        for task in service.tasks:
            if task.image is None or task.flow == "in" or not _is_measured(task, evaluator):
                continue
            images = _images(task.image, edges_px, quality)
            choices = tuple(_choice(site, service, task, image, evaluator) for image in images)
            tables.append(PhotoTable(service=service, task=task, choices=choices))
    return tuple(tables)


def _is_measured(task: Task, evaluator: "Evaluator") -> bool:
    """Was every direction of the link that it needs measured?"""
    return all(getattr(evaluator.link, way) is not None for way in directions(task))


def _images(now: Image, edges_px: Sequence[int], quality: int | None) -> tuple[Image, ...]:
    ladder: Sequence[int] = THUMBNAIL_EDGES_PX
    if now.role == "photo":
        ladder = (*PHOTO_EDGES_PX, *edges_px)
    wanted = quality or now.quality
    others = (
        replace(now, edge_px=edge, format=encoder, quality=wanted)
        for edge in sorted({*ladder, now.edge_px})
        for encoder in IMAGE_FORMATS
    )
    return (now, *(image for image in others if image != now))


def _choice(
    site: Site, service: Service, task: Task, image: Image, evaluator: "Evaluator"
) -> PhotoChoice:
    assert task.image is not None
    stored = replace(task, image=image, size=resized(task.size, task.image, image))
    tasks = tuple(stored if one is task else one for one in service.tasks)
    holder = replace(service, tasks=tasks)
    edited = replace(
        site, services=tuple(holder if one is service else one for one in site.services)
    )
    evaluation = evaluator.evaluate(edited, limits=False)
    forecast = next(
        found
        for of_service in evaluation.services
        if of_service.service.name == service.name
        for found in of_service.tasks
        if found.task.name == task.name
    )
    limit = None
    if task.target_s is not None and bears_load(stored, holder, site.path):
        hour = evaluator.busy_hour(edited)
        curve = evaluator.curve(stored, holder, site.path, hour)
        limit = curve.limit(task.target_s, exact=False)
    entry = next(
        entry
        for entry in evaluation.data.ledger
        if (entry.service, entry.cause) == (service.name, task.name)
    )
    return PhotoChoice(
        image=image,
        size=stored.size,
        time=forecast.time,
        prob_within_target=forecast.prob_within_target,
        n_max_users=None if limit is None else limit.n_users,
        n_max_users_low=None if limit is None else limit.n_low,
        n_max_users_high=None if limit is None else limit.n_high,
        month=entry.use,
        cycle=evaluation.data.use,
        present=image == task.image,
    )
