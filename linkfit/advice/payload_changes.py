"""Changes that make payloads smaller or rarer: pictures, video, caches.

Losses of quality are judgements of this project (common practice, no source); levels and bytes
come from measured pictures (linkfit.site.photo_sizes) and from common streaming ladders.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from linkfit.advice.change import Change, Cost, source_of
from linkfit.advice.edits import Edit
from linkfit.site.kinds import KINDS
from linkfit.site.model import Backlog, Image, Service, Site, SizeLaw, Task
from linkfit.site.photo_sizes import resized
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY, format_duration, format_rate

# below the last level of each ladder the promise of the service would be empty
PHOTO_EDGES = ((2560, 0.02), (2048, 0.04), (1440, 0.08), (1080, 0.14), (720, 0.25))
THUMBNAIL_EDGES = ((360, 0.01), (250, 0.03), (200, 0.06), (160, 0.10))
QUALITIES = ((85, 0.01), (80, 0.03), (75, 0.06))
MEASURED_PICTURES = source_of("bytes of measured pictures")
STREAM_RATES = source_of("common streaming rates of H.264")
FRESHNESS = source_of("freshness lifetimes: RFC 9111 section 4.2")
# encode again, keep the old ones for old programs
FORMAT_COST = Cost(effort_h=1.0, source=MEASURED_PICTURES)
CACHE_LIFETIMES = ((3600.0, 0.0), (SECONDS_PER_DAY, 0.01), (7 * SECONDS_PER_DAY, 0.02),
                   (30 * SECONDS_PER_DAY, 0.04))  # fmt: skip
# H.264 rates (common practice): rate, name, loss
VIDEO_LADDER = (
    (16e6, "4K", 0.0), (5e6, "1080p", 0.04), (2.5e6, "720p", 0.10), (1.2e6, "480p", 0.20),
    (0.7e6, "360p", 0.32),
)  # fmt: skip
CALL_LADDER = (
    (3e6, "1080p", 0.02), (1e6, "720p", 0.06), (600e3, "VGA", 0.12), (350e3, "small picture", 0.22),
)  # fmt: skip
CAMERA_LADDER = (
    (3e6, "1080p, 15 pictures a second", 0.0),
    (2e6, "720p, 15 pictures a second", 0.05),
    (1e6, "1080p, 5 pictures a second", 0.12),
    (500e3, "sub-stream 640x360, 5 pictures a second", 0.22),
)
LEAST_STREAM_BPS = 250e3  # slower streams carry sound, which none of the ladders may touch

Holder = Task | Backlog


def payload_changes(site: Site) -> Iterator[Change]:
    """Every change of pictures, video rates and cache lifetimes that this site allows."""
    for service in site.services:
        for task in service.tasks:
            owner = f"{service.name}: {task.name}"
            if task.image is not None:
                yield from _picture_changes(service.name, owner, task)
            yield from _stream_changes(service, owner, task)
            yield from _cache_changes(service, owner, task)
    for backlog in site.backlogs:
        if backlog.image is not None:
            yield from _picture_changes(backlog.name, f"backlog {backlog.name}", backlog)


def _edit(holder: Holder, service: str, **values: Any) -> Edit:
    if isinstance(holder, Task):
        return Edit(editor="image", service=service, task=holder.name, **values)
    return Edit(editor="backlog image", name=holder.name, **values)


def _losses(levels: Sequence[tuple[int, float]], now: int) -> list[tuple[int, float]]:
    """Levels below `now` with the loss each adds to what is lost already."""
    reached = [loss for level, loss in levels if level >= now]
    already = reached[-1] if reached else 0.0
    return [(level, max(loss - already, 0.01)) for level, loss in levels if level < now]


def _picture_changes(service: str, owner: str, holder: Holder) -> Iterator[Change]:
    image = holder.image
    assert image is not None
    is_thumbnail = image.role == "thumbnail"
    kind = "thumbnails" if is_thumbnail else "stored photos"
    edges = _losses(THUMBNAIL_EDGES if is_thumbnail else PHOTO_EDGES, image.edge_px)
    shrinks = [_shrink(holder, replace(image, edge_px=edge_px)) for edge_px, _ in edges]
    for (edge_px, loss_frac), shrink in zip(edges, shrinks, strict=True):
        yield Change(
            what=f"long edge of {kind}",
            service=service,
            setting=f"{owner}: picture edge",
            before_text=f"{image.edge_px} px",
            after_text=f"{edge_px} px",
            cost_text=f"{kind} show less detail on large screens",
            cost=Cost(quality_loss_frac=loss_frac, effort_h=0.5, source=MEASURED_PICTURES),
            edits=(_edit(holder, service, field="edge_px", value=edge_px),),
            strength_frac=shrink / max(shrinks),
        )
    qualities = _losses(QUALITIES, image.quality)
    for index, (quality, loss_frac) in enumerate(qualities):
        yield Change(
            what=f"encoder quality of {kind}",
            service=service,
            setting=f"{owner}: picture quality",
            before_text=f"{image.quality}",
            after_text=f"{quality}",
            cost_text="finer texture is lost, edges may show",
            cost=Cost(quality_loss_frac=loss_frac, effort_h=0.3, source=MEASURED_PICTURES),
            edits=(_edit(holder, service, field="quality", value=quality),),
            strength_frac=(index + 1) / len(qualities),
        )
    if image.format == "jpeg":
        yield Change(
            what=f"format of {kind}",
            service=service,
            setting=f"{owner}: picture format",
            before_text="JPEG",
            after_text="WebP",
            cost_text="old programs cannot open it",
            cost=FORMAT_COST,
            edits=(_edit(holder, service, field="format", value="webp"),),
        )


def _shrink(holder: Holder, after: Image) -> float:
    """How much smaller the payload gets, as a logarithm (> 0)."""
    assert holder.image is not None
    small = resized(holder.size, holder.image, after)
    return max(math.log(holder.size.median_bytes / small.median_bytes), 1e-6)


def _stream_changes(service: Service, owner: str, task: Task) -> Iterator[Change]:
    """Lower rates for tasks that carry video, streamed or sent as a file."""
    length_s = _video_length_s(service, task)
    if length_s <= 0 or task.image is not None:
        return
    rate_bps = task.size.median_bytes * BITS_PER_BYTE / length_s
    if rate_bps < LEAST_STREAM_BPS:
        return
    ladder, what = _ladder(service, task)
    # a level that saves less than a tenth is not worth a question
    levels = [level for level in ladder if level[0] <= 0.9 * rate_bps]
    if not levels:
        return
    deepest = math.log(rate_bps / levels[-1][0])
    reached = [loss for level_bps, _, loss in ladder if level_bps > 0.9 * rate_bps]
    already = reached[-1] if reached else 0.0
    for level_bps, name, loss_frac in levels:
        median_bytes = level_bps * length_s / BITS_PER_BYTE
        size = SizeLaw(median_bytes=median_bytes, spread=task.size.spread)
        yield Change(
            what=what,
            service=service.name,
            setting=f"{owner}: stream rate",
            before_text=format_rate(rate_bps, 2),
            after_text=f"{format_rate(level_bps, 2)} ({name})",
            cost_text="a coarser picture",
            cost=Cost(
                quality_loss_frac=max(loss_frac - already, 0.01), effort_h=0.3, source=STREAM_RATES
            ),
            edits=(
                Edit(editor="task", field="size", value=size, service=service.name, task=task.name),
            ),
            strength_frac=math.log(rate_bps / level_bps) / deepest,
        )


def _video_length_s(service: Service, task: Task) -> float:
    """How long the picture in a task lasts; 0 for a task without one. [s]"""
    kind = KINDS.get(service.kind)
    for video in kind.videos if kind is not None else ():
        if video.task == task.name:
            return task.duration_s or video.length_s
    return task.duration_s


def _ladder(service: Service, task: Task) -> tuple[tuple[tuple[float, str, float], ...], str]:
    if "camera" in service.kind:
        return CAMERA_LADDER, "camera picture and frame rate"
    if task.flow == "both":
        return CALL_LADDER, "video rate of calls"
    return VIDEO_LADDER, "video rate"


def _cache_changes(service: Service, owner: str, task: Task) -> Iterator[Change]:
    """Longer lifetimes where the payload may be kept at all; private content stays in browsers."""
    cache = task.cache
    if cache.scope == "none" or cache.views_per_object_day <= 0 or task.flow == "in":
        return
    place = "browser cache" if cache.scope == "browser" else "shared cache at the edge"
    levels = [(s, loss) for s, loss in CACHE_LIFETIMES if s > cache.lifetime_s]
    # a shared cache answers every visitor, a browser only its own
    n_sharing = max(service.n_users, 1) if cache.scope == "shared" else 1
    views_per_object_day = cache.views_per_object_day * n_sharing
    misses = [_miss(views_per_object_day, lifetime_s) for lifetime_s, _ in levels]
    now = _miss(views_per_object_day, cache.lifetime_s)
    for (lifetime_s, loss_frac), miss in zip(levels, misses, strict=True):
        yield Change(
            what=f"lifetime in the {place} ({task.name})",
            service=service.name,
            setting=f"{owner}: cache lifetime",
            before_text=format_duration(cache.lifetime_s) if cache.lifetime_s else "none",
            after_text=format_duration(lifetime_s),
            cost_text="visitors may see an old copy for that long",
            cost=Cost(quality_loss_frac=loss_frac, effort_h=0.5, source=FRESHNESS),
            edits=(Edit(editor="cache", value=lifetime_s, service=service.name, task=task.name),),
            strength_frac=max(math.log(now / miss) / math.log(now / misses[-1]), 1e-6),
        )


def _miss(views_per_object_day: float, lifetime_s: float) -> float:
    """1 / (1 + lambda T): share of requests that a freshness lifetime lets through."""
    return 1.0 / (1.0 + views_per_object_day * lifetime_s / SECONDS_PER_DAY)
