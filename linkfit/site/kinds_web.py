"""Kinds that answer page by page or message by message: web site, web app, chat."""

from linkfit.site.kind import Kind
from linkfit.site.model import Cache, Image, SizeLaw, Task

_CP = "common practice"
_G1010 = "target: ITU-T G.1010, value from memory"

WEB_SITE = Kind(
    name="web-site",
    summary="public pages that are the same for everybody",
    users_are="visitors",
    tasks=(
        Task(
            name="first view",
            flow="out",
            size=SizeLaw(median_bytes=200e3 / 12, spread=2.5),
            n_requests=12,
            n_parallel=6,
            per_user_day=5.0,
            target_s=2.0,
            # a visitor's first view of a page: only a cache that all share can answer it
            cache=Cache(scope="shared", lifetime_s=0.0, views_per_object_day=1.0),
            source=f"{_CP} (lean page of 200 kB in 12 requests); {_G1010}",
        ),
        Task(
            name="repeat view",
            flow="out",
            size=SizeLaw(median_bytes=15e3 / 2, spread=3.0),
            n_requests=2,
            n_parallel=2,
            per_user_day=10.0,
            target_s=2.0,
            cache=Cache(scope="shared", lifetime_s=0.0, views_per_object_day=2.0),
            source=f"{_CP}; {_G1010}",
        ),
    ),
    occasional=(
        Task(
            name="typical public page",
            flow="out",
            size=SizeLaw(median_bytes=2.3e6 / 66, spread=2.0),
            n_requests=66,
            n_parallel=6,
            per_user_day=5.0,
            target_s=4.0,
            cache=Cache(scope="shared", lifetime_s=0.0, views_per_object_day=1.0),
            source=(
                "HTTP Archive Web Almanac 2024, Page Weight, median mobile page (2311 kB, "
                f"66 requests); spread and rate: {_CP}; {_G1010}"
            ),
        ),
    ),
)

WEB_APP = Kind(
    name="web-app",
    summary="notes, wiki or dashboard that people work in",
    users_are="users",
    tasks=(
        Task(
            name="open the app",
            flow="out",
            size=SizeLaw(median_bytes=800e3 / 30, spread=2.0),
            n_requests=30,
            n_parallel=6,
            per_user_day=1.0,
            target_s=4.0,
            # scripts and styles are the same for all, but they come behind a log-in
            cache=Cache(scope="browser", lifetime_s=0.0, views_per_object_day=1.0),
            source=f"{_CP} (800 kB in 30 requests); {_G1010}",
        ),
        Task(
            name="act in the app",
            fresh_connection=False,
            flow="out",
            size=SizeLaw(median_bytes=10e3 / 2, spread=3.0),
            n_requests=2,
            per_user_day=60.0,
            target_s=1.0,
            source=_CP,
        ),
    ),
)

CHAT = Kind(
    name="chat",
    summary="messages between people, with push to their phones",
    users_are="users",
    tasks=(
        Task(
            name="message",
            fresh_connection=False,
            flow="both",
            size=SizeLaw(median_bytes=2e3, spread=2.0),
            per_user_day=80.0,
            target_s=1.0,
            source=_CP,
        ),
        Task(
            name="send a picture",
            fresh_connection=False,
            flow="both",
            size=SizeLaw(median_bytes=340e3, spread=1.7),
            per_user_day=4.0,
            target_s=15.0,
            image=Image(edge_px=1920, format="jpeg", quality=80),
            cache=Cache(scope="browser", lifetime_s=0.0, views_per_object_day=0.5),
            source=f"measured on an open photo set, 114 JPEGs; rate: {_CP}; {_G1010}",
        ),
        Task(
            name="hold the line open",
            fresh_connection=False,
            flow="both",
            size=SizeLaw(median_bytes=100.0),
            per_user_day=2880.0,
            must_carry=False,
            source=f"{_CP} (60 to 360 B in all, each 25 to 30 s)",
        ),
    ),
)
