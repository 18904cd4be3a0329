"""Kinds for machines and those who tend them: remote shell, sensors, upkeep."""

from linkfit.site.kind import Kind
from linkfit.site.model import Cache, SizeLaw, Task

_CP = "common practice"
_G1010 = "target: ITU-T G.1010, value from memory"

REMOTE_SHELL = Kind(
    name="remote-shell",
    summary="typing on the server from afar",
    users_are="users",
    bulk=("copy a file out", "copy a file in"),
    tasks=(
        Task(
            name="key echo",
            fresh_connection=False,
            flow="both",
            size=SizeLaw(median_bytes=75.0, spread=1.5),
            per_user_day=3000.0,
            target_s=0.25,
            source=f"{_CP} (100 to 200 B in all); {_G1010} for terminal work",
        ),
        Task(
            name="session output",
            fresh_connection=False,
            flow="out",
            size=SizeLaw(median_bytes=1e6, spread=3.0),
            per_user_day=1.0,
            duration_s=1800.0,
            source=f"{_CP} (30 min of text)",
        ),
        Task(
            name="copy a file out",
            flow="out",
            size=SizeLaw(median_bytes=5e6, spread=6.0),
            per_user_day=0.25,
            target_s=60.0,
            must_carry=False,  # sizes spread so far that a large one may take its time
            source=f"{_CP}; {_G1010}",
        ),
        Task(
            name="copy a file in",
            flow="in",
            size=SizeLaw(median_bytes=5e6, spread=6.0),
            per_user_day=0.25,
            target_s=60.0,
            must_carry=False,  # sizes spread so far that a large one may take its time
            source=f"{_CP}; {_G1010}",
        ),
    ),
)

SENSORS = Kind(
    name="sensors",
    summary="devices that report to the server, and a dashboard",
    users_are="devices",
    tasks=(
        Task(
            name="report",
            flow="in",
            size=SizeLaw(median_bytes=350.0, spread=1.3),
            per_user_day=1440.0,
            target_s=4.0,
            source=f"{_CP} (one small message a minute)",
        ),
        Task(
            name="open the dashboard",
            flow="out",
            size=SizeLaw(median_bytes=1e6 / 40, spread=2.0),
            n_requests=40,
            n_parallel=6,
            per_user_day=4.0,
            target_s=4.0,
            cache=Cache(scope="browser", lifetime_s=0.0, views_per_object_day=4.0),
            source=f"{_CP} (1 MB in 40 requests); {_G1010}",
        ),
    ),
)

UPKEEP = Kind(
    name="upkeep",
    summary="what the server needs for itself: updates, certificates, checks from outside",
    users_are="servers",
    needs_users=False,
    bulk=("system updates",),
    tasks=(
        Task(
            name="system updates",
            through_entry=False,
            flow="in",
            size=SizeLaw(median_bytes=1e9, spread=2.5),
            per_user_day=1 / 30,
            resumable=True,
            must_carry=False,
            source=f"{_CP} (0.5 to 3 GB a month)",
        ),
        Task(
            name="look for updates",
            through_entry=False,
            flow="in",
            size=SizeLaw(median_bytes=5e6, spread=2.0),
            per_user_day=1.0,
            must_carry=False,
            source=f"{_CP} (package lists once a day)",
        ),
        Task(
            name="renew certificates",
            through_entry=False,
            flow="both",
            size=SizeLaw(median_bytes=15e3, spread=1.5),
            per_user_day=1 / 60,
            must_carry=False,
            source=_CP,
        ),
        Task(
            name="health check from outside",
            flow="both",
            size=SizeLaw(median_bytes=4e3, spread=1.3),
            per_user_day=288.0,
            target_s=5.0,
            must_carry=False,
            source=f"{_CP} (a fresh TLS connection each 5 min, 8 kB in all)",
        ),
    ),
)
