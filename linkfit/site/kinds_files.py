"""Kinds that keep and move files: photo library, file sync, backup away from the site.

Directions are said from the server: a remote visitor's download is "out", a phone's upload "in".
"""

from linkfit.site.kind import Kind
from linkfit.site.model import Cache, Image, SizeLaw, Task

_PHOTO_SET = "measured on an open photo set, 114 JPEGs"
_CP = "common practice"
_G1010 = "target: ITU-T G.1010, value from memory"

PHOTO_LIBRARY = Kind(
    name="photo-library",
    summary="photos and clips that a group of people collects and looks at",
    users_are="users",
    bulk=("get an original", "add a photo", "add a clip"),
    tasks=(
        Task(
            name="open the grid",
            flow="out",
            size=SizeLaw(median_bytes=8e3, spread=1.8),
            n_requests=60,
            n_parallel=6,
            per_user_day=3.0,
            target_s=3.0,
            image=Image(edge_px=250, format="webp", quality=80, role="thumbnail"),
            # photos are private: only the visitor's own browser may keep them
            cache=Cache(scope="browser", lifetime_s=3600.0, views_per_object_day=0.5),
            source=f"{_PHOTO_SET}; rates and target: {_CP}",
        ),
        Task(
            name="view a photo",
            flow="out",
            size=SizeLaw(median_bytes=209e3, spread=1.7),
            per_user_day=15.0,
            target_s=2.0,
            image=Image(edge_px=1440, format="jpeg", quality=80),
            cache=Cache(scope="browser", lifetime_s=3600.0, views_per_object_day=0.1),
            source=f"{_PHOTO_SET}; rates and target: {_CP}",
        ),
        Task(
            name="get an original",
            flow="out",
            size=SizeLaw(median_bytes=3.5e6, spread=1.6),
            per_user_day=0.5,
            target_s=15.0,
            source=f"{_CP} (12 MP phone JPEG); {_G1010}",
        ),
        Task(
            name="add a photo",
            flow="in",
            size=SizeLaw(median_bytes=3.5e6, spread=1.6),
            per_user_day=8.0,
            target_s=60.0,
            per_item_s=0.5,
            source=f"{_CP} (12 MP phone JPEG); {_G1010}",
        ),
        Task(
            name="add a clip",
            flow="in",
            size=SizeLaw(median_bytes=130e6, spread=2.5),
            per_user_day=0.3,
            target_s=3600.0,
            per_item_s=0.5,
            source=f"{_CP} (one minute of 1080p30 phone video)",
        ),
    ),
)

FILE_SYNC = Kind(
    name="file-sync",
    summary="folders kept alike on several devices",
    users_are="users",
    bulk=("save a document", "fetch a document", "drop many small files"),
    tasks=(
        Task(
            name="poll for changes",
            fresh_connection=False,
            flow="both",
            size=SizeLaw(median_bytes=1e3, spread=2.0),
            per_user_day=480.0,
            target_s=4.0,
            must_carry=False,
            source=f"{_CP} (0.6 to 5 kB in all, 96 to 2880 polls a day)",
        ),
        Task(
            name="save a document",
            flow="in",
            size=SizeLaw(median_bytes=200e3, spread=5.0),
            per_user_day=10.0,
            target_s=15.0,
            per_item_s=0.4,
            source=f"{_CP}; {_G1010}",
        ),
        Task(
            name="fetch a document",
            flow="out",
            size=SizeLaw(median_bytes=500e3, spread=5.0),
            per_user_day=4.0,
            target_s=15.0,
            source=f"{_CP}; {_G1010}",
        ),
        Task(
            name="drop many small files",
            flow="in",
            size=SizeLaw(median_bytes=50e3, spread=3.0),
            n_requests=1000,
            n_parallel=3,
            per_user_day=0.03,
            target_s=3600.0,
            resumable=True,  # a broken drop goes on with the next file
            per_item_s=1.0,
            source=f"{_CP} (0.4 to 2.4 s for each file)",
        ),
    ),
)

BACKUP = Kind(
    name="backup",
    summary="copies of the server's data at a place away from the site",
    users_are="hosts",
    bulk=("daily delta", "check the store", "first seed"),
    tasks=(
        Task(
            name="daily delta",
            through_entry=False,
            flow="out",
            size=SizeLaw(median_bytes=500e6, spread=3.0),  # 0.5 % of 100 GB held
            per_user_day=1.0,
            target_s=6 * 3600.0,
            chunk_bytes=8e6,
            resumable=True,
            source=f"{_CP} (0.5 % of 100 GB a day; window of 6 h)",
        ),
        Task(
            name="check the store",
            through_entry=False,
            flow="in",
            size=SizeLaw(median_bytes=2e9, spread=2.0),  # 2 % of 100 GB held
            per_user_day=1 / 7,
            target_s=6 * 3600.0,
            chunk_bytes=8e6,
            resumable=True,
            must_carry=False,
            source=f"{_CP} (1 to 5 % of the store read back a week)",
        ),
    ),
    occasional=(
        Task(
            name="first seed",
            through_entry=False,
            flow="out",
            size=SizeLaw(median_bytes=100e9, spread=3.0),
            per_user_day=0.0,
            chunk_bytes=8e6,
            resumable=True,
            must_carry=False,
            source=f"{_CP}; happens once: better given as a [[backlog]]",
        ),
    ),
)
