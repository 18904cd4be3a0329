"""The twelve kinds of service by name; their tasks are data in the modules imported here."""

from collections.abc import Mapping
from types import MappingProxyType

from linkfit.errors import InputError
from linkfit.site.kind import Kind
from linkfit.site.kinds_files import BACKUP, FILE_SYNC, PHOTO_LIBRARY
from linkfit.site.kinds_machines import REMOTE_SHELL, SENSORS, UPKEEP
from linkfit.site.kinds_media import CALLS, CAMERAS, MEDIA_STREAMING
from linkfit.site.kinds_web import CHAT, WEB_APP, WEB_SITE
from linkfit.site.shown import did_you_mean, shown

KINDS: Mapping[str, Kind] = MappingProxyType({kind.name: kind for kind in (
    PHOTO_LIBRARY, FILE_SYNC, WEB_SITE, WEB_APP, MEDIA_STREAMING, CAMERAS,
    REMOTE_SHELL, BACKUP, CALLS, CHAT, SENSORS, UPKEEP,
)})  # fmt: skip


def find_kind(name: str) -> Kind:
    """The kind called `name`.

    Raises
    ------
    InputError
        If there is no such kind; the text lists the kinds and names the nearest.
    """
    if name not in KINDS:
        hint = did_you_mean(name, KINDS) or "; choose the one whose tasks are most alike"
        raise InputError(f"kind: expected one of {', '.join(KINDS)}, got {shown(name)}{hint}")
    return KINDS[name]
