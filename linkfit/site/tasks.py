"""From a service's entry in the site file to its tasks: kind, then service keys, then task keys."""

import warnings
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from linkfit.errors import ExtrapolationWarning, InputError
from linkfit.site.entries import PhotoEntry, ServiceEntry, SizeEntry, TaskEntry
from linkfit.site.kind import Kind
from linkfit.site.model import Cache, Image, SizeLaw, Task
from linkfit.site.photo_sizes import measured_range_problem, photo_size, resized
from linkfit.site.problems import Place, Problems
from linkfit.site.shown import did_you_mean
from linkfit.units import BITS_PER_BYTE

_PLAIN_KEYS = {
    "flow": "flow",
    "requests": "n_requests",
    "per_user_day": "per_user_day",
    "target": "target_s",
    "remote_rate": "remote_rate_bps",
    "duration": "duration_s",
    "chunk": "chunk_bytes",
    "parallel": "n_parallel",
    "resumable": "resumable",
    "per_item": "per_item_s",
    "must_carry": "must_carry",
    "fresh_connection": "fresh_connection",
    "live": "live",
}


def size_law(entry: SizeEntry) -> SizeLaw:
    """The size of the file as a SizeLaw."""
    return SizeLaw(median_bytes=entry.median, spread=entry.spread)


def image_of(entry: PhotoEntry) -> Image:
    """The picture of the file as an Image; warns beyond what was measured."""
    image = Image(edge_px=entry.edge, format=entry.format, quality=entry.quality, role=entry.role)
    _warn_beyond_measured(image)
    return image


def _warn_beyond_measured(image: Image) -> None:
    problem = measured_range_problem(image)
    if problem:
        warnings.warn(
            f"{problem}; photo sizes are extrapolated", ExtrapolationWarning, stacklevel=3
        )


def service_tasks(
    entry: ServiceEntry,
    kind: Kind,
    listed: Sequence[tuple[Place, TaskEntry]],
    place: Place,
    problems: Problems,
) -> tuple[Task, ...]:
    """The tasks of a service: those of its kind, changed and added to by the site file.

    The keys of the service change the kind's tasks; the keys of a `[[service.task]]` change, on
    top of that, the task of the same name. `listed` holds these with their places.
    """
    names = {task_entry.name for _, task_entry in listed}
    by_name = {
        task.name: task for task in kind.tasks if task.name in names or not entry.only_listed_tasks
    }
    by_name |= {task.name: task for task in kind.occasional if task.name in names}
    used: set[str] = set()
    tasks = {task.name: _with_service_keys(task, entry, kind, used) for task in by_name.values()}
    _tell_unused(entry, kind, used, place, problems)
    for task_place, task_entry in listed:
        known = tasks.get(task_entry.name)
        if known is None and problems.left_out(task_place, "size", "flow", "photo"):
            continue  # told already
        try:
            task = _with_task_keys(task_entry, known, kind)
        except InputError as error:
            problems.add(task_place, str(error))
        else:
            tasks[task.name] = task
    return tuple(tasks.values())


def _with_service_keys(task: Task, entry: ServiceEntry, kind: Kind, used: set[str]) -> Task:
    """`task` under the keys of its service; `used` gathers those that changed something."""
    task = _filmed(_moved(task, entry, kind, used), entry, kind, used)
    return _pictured(_cached(task, entry, used), entry, used)


def _moved(task: Task, entry: ServiceEntry, kind: Kind, used: set[str]) -> Task:
    """`chunk` and `parallel` hold for tasks that move files."""
    if task.name not in kind.bulk:
        return task
    if entry.chunk is not None:
        used.add("chunk")
        task = replace(task, chunk_bytes=entry.chunk)
    if entry.parallel is not None:
        used.add("parallel")
        task = replace(task, n_parallel=entry.parallel)
    return task


def _filmed(task: Task, entry: ServiceEntry, kind: Kind, used: set[str]) -> Task:
    """`video_rate` sets the main videos and lowers the others."""
    if entry.video_rate is None:
        return task
    for video in kind.videos:
        if video.task == task.name:
            used.add("video_rate")
            size_bytes = entry.video_rate * video.length_s / BITS_PER_BYTE
            if not video.main:
                size_bytes = min(size_bytes, task.size.median_bytes)
            return replace(task, size=replace(task.size, median_bytes=size_bytes))
    return task


def _cached(task: Task, entry: ServiceEntry, used: set[str]) -> Task:
    """`shared_cache` holds for public content; `browser_cache` for all that may be kept."""
    scope = task.cache.scope
    if scope == "shared" and entry.shared_cache is not None:
        used |= {"shared_cache", "browser_cache"}  # the shared copy stands in front of the link
        return replace(task, cache=replace(task.cache, lifetime_s=entry.shared_cache))
    if scope != "none" and entry.browser_cache is not None:
        used.add("browser_cache")
        cache = replace(task.cache, scope="browser", lifetime_s=entry.browser_cache)
        return replace(task, cache=cache)
    return task


def _pictured(task: Task, entry: ServiceEntry, used: set[str]) -> Task:
    """`photo_*` and `thumb_edge` change the stored picture and, by the measured law, its size."""
    if task.image is None:
        return task
    thumbnail = task.image.role == "thumbnail"
    edge_key = "thumb_edge" if thumbnail else "photo_edge"
    wanted: dict[str, Any] = {
        edge_key: getattr(entry, edge_key),
        "photo_quality": entry.photo_quality,
        "photo_format": None if thumbnail else entry.photo_format,
    }
    fields = {edge_key: "edge_px", "photo_quality": "quality", "photo_format": "format"}
    changes = {fields[key]: value for key, value in wanted.items() if value is not None}
    if not changes:
        return task
    used |= {key for key, value in wanted.items() if value is not None}
    image = replace(task.image, **changes)
    _warn_beyond_measured(image)
    return replace(task, image=image, size=resized(task.size, task.image, image))


_NEEDS = {
    "photo_edge": "a kind with photos",
    "photo_quality": "a kind with photos",
    "photo_format": "a kind with photos",
    "thumb_edge": "a kind with thumbnails",
    "browser_cache": "a kind whose content browsers may keep",
    "shared_cache": "a kind whose content is public",
    "video_rate": "a kind with video",
    "chunk": "a kind that moves files",
    "parallel": "a kind that moves files",
}


def deaf_keys(kind: Kind) -> tuple[str, ...]:
    """The keys of a service that no task of `kind` listens to."""
    tasks = (*kind.tasks, *kind.occasional)
    roles = {task.image.role for task in tasks if task.image is not None}
    scopes = {task.cache.scope for task in tasks}
    heard = {
        "photo_edge": "photo" in roles,
        "photo_quality": bool(roles),
        "photo_format": "photo" in roles,
        "thumb_edge": "thumbnail" in roles,
        "browser_cache": scopes != {"none"},
        "shared_cache": "shared" in scopes,
        "video_rate": bool(kind.videos),
        "chunk": bool(kind.bulk),
        "parallel": bool(kind.bulk),
    }
    return tuple(key for key in _NEEDS if not heard[key])


def _tell_unused(
    entry: ServiceEntry, kind: Kind, used: set[str], place: Place, problems: Problems
) -> None:
    """A service key that no task of the service listens to would be ignored in silence."""
    for key, need in _NEEDS.items():
        if getattr(entry, key) is None or key in used:
            continue
        advice = "set a [[service.task]] instead, or take it out"
        if key == "shared_cache" and "browser_cache" not in deaf_keys(kind):
            advice = "what it sends is private: use browser_cache"
        problems.add((*place, key), f"expected {need}, got {kind.name!r}; {advice}")


def _with_task_keys(entry: TaskEntry, task: Task | None, kind: Kind) -> Task:
    """`task` with the keys that the file gives, or a new task from them."""
    changes: dict[str, Any] = {
        field: getattr(entry, key)
        for key, field in _PLAIN_KEYS.items()
        if getattr(entry, key) is not None
    }
    if entry.cache is not None:
        changes["cache"] = Cache(
            scope=entry.cache.scope,
            lifetime_s=entry.cache.lifetime,
            views_per_object_day=entry.cache.views_per_object_day,
        )
    if entry.photo is not None:
        image = image_of(entry.photo)
        changes["image"] = image
        if task is not None and task.image is not None:
            changes["size"] = resized(task.size, task.image, image)
        else:
            changes["size"] = photo_size(image)
    if entry.size is not None:
        changes["size"] = size_law(entry.size)
    if task is not None:
        source = "site file" if "size" in changes else task.source
        return replace(task, **changes, source=source)
    lacking = [key for key in ("size", "flow") if key not in changes]
    if lacking:
        known = [known_task.name for known_task in (*kind.tasks, *kind.occasional)]
        hint = did_you_mean(entry.name, known) or f"; tasks of {kind.name}: {', '.join(known)}"
        raise InputError(
            f"expected {' and '.join(lacking)}, as {entry.name!r} is no task of {kind.name}, "
            f"got nothing{hint}"
        )
    return Task(name=entry.name, **changes)
