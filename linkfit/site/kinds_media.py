"""Kinds that play as they go: media streaming, cameras, calls.

Streams last `duration_s` and spread their size over it; their target is the time to start,
for calls the one-way delay.
"""

from linkfit.site.kind import Kind, Video
from linkfit.site.model import Image, SizeLaw, Task

_CP = "common practice"
_G1010 = "target: ITU-T G.1010, value from memory"
_G114 = "target: ITU-T G.114 limit, as quoted elsewhere"
_EPISODE_S = 40 * 60.0

MEDIA_STREAMING = Kind(
    name="media-streaming",
    summary="films, series and music played from the server",
    users_are="users",
    videos=(
        Video(task="episode at 720p", length_s=_EPISODE_S),
        Video(task="episode at 480p", length_s=_EPISODE_S, main=False),
    ),
    tasks=(
        Task(
            name="episode at 720p",
            flow="out",
            size=SizeLaw(median_bytes=750e6, spread=1.4),  # 2.5 Mbit/s
            per_user_day=0.5,
            target_s=10.0,
            duration_s=_EPISODE_S,
            source=f"{_CP} (2.5 Mbit/s, 40 min); {_G1010}",
        ),
        Task(
            name="episode at 480p",
            flow="out",
            size=SizeLaw(median_bytes=360e6, spread=1.4),  # 1.2 Mbit/s
            per_user_day=0.5,
            target_s=10.0,
            duration_s=_EPISODE_S,
            source=f"{_CP} (1.2 Mbit/s, 40 min); {_G1010}",
        ),
        Task(
            name="music track",
            flow="out",
            size=SizeLaw(median_bytes=3.84e6, spread=1.3),  # 128 kbit/s
            per_user_day=15.0,
            target_s=2.0,
            duration_s=240.0,
            source=f"{_CP} (128 kbit/s, 4 min)",
        ),
    ),
)

CAMERAS = Kind(
    name="cameras",
    summary="cameras that are looked at, and that report events",
    users_are="cameras",
    videos=(
        Video(task="look live", length_s=60.0, main=False),  # the small second stream
        Video(task="event clip", length_s=20.0),
        Video(task="record away from the site", length_s=86400.0),
    ),
    bulk=("event clip",),
    tasks=(
        Task(
            name="look live",
            flow="out",
            size=SizeLaw(median_bytes=3.75e6, spread=2.0),  # 500 kbit/s
            per_user_day=4.0,
            target_s=4.0,
            duration_s=60.0,
            source=f"{_CP} (640x360, H.264, 500 kbit/s, one minute)",
        ),
        Task(
            name="event clip",
            flow="out",
            size=SizeLaw(median_bytes=7.5e6, spread=1.6),  # 3 Mbit/s
            per_user_day=10.0,
            target_s=60.0,
            source=f"{_CP} (1080p15, H.264, 3 Mbit/s, 20 s); {_G1010}",
        ),
        Task(
            name="snapshot",
            flow="out",
            size=SizeLaw(median_bytes=130e3, spread=1.7),
            per_user_day=24.0,
            target_s=4.0,
            image=Image(edge_px=1080, format="jpeg", quality=80),
            source=f"measured on an open photo set, 114 JPEGs; rate and target: {_CP}",
        ),
    ),
    occasional=(
        Task(
            name="record away from the site",
            flow="out",
            size=SizeLaw(median_bytes=32.4e9, spread=1.3),  # 3 Mbit/s all day
            per_user_day=1.0,
            duration_s=86400.0,
            source=f"{_CP} (1080p15 at 3 Mbit/s, 32 GB a day for each camera)",
        ),
    ),
)

CALLS = Kind(
    name="calls",
    summary="voice and video calls that the server relays",
    users_are="users",
    videos=(Video(task="video call", length_s=1800.0),),
    tasks=(
        Task(
            name="voice call",
            live=True,
            flow="both",
            size=SizeLaw(median_bytes=6.2e6, spread=1.2),  # 55 kbit/s on the wire, each way
            per_user_day=2.0,
            target_s=0.4,
            duration_s=900.0,
            source=f"{_CP} (55 kbit/s each way, 15 min); {_G114}",
        ),
        Task(
            name="video call",
            live=True,
            flow="both",
            size=SizeLaw(median_bytes=147e6, spread=1.5),  # 655 kbit/s each way
            per_user_day=0.5,
            target_s=0.4,
            duration_s=1800.0,
            source=f"{_CP} (655 kbit/s each way, 30 min); {_G114}",
        ),
    ),
)
