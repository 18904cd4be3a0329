"""Traffic that a site has without anybody asking: default causes, each with its source.

`bytes_per_day` counts both directions together; flow "both" means half of it each way. None of
these is `optional`: without keys, time and names a server on the internet does not run.
"""

from linkfit.site.model import Background, PathLimits
from linkfit.units import SECONDS_PER_DAY

KEEPALIVE_BYTES = 60.0  # IPv4 20 + UDP 8 + tunnel 32; about as much for a beat over TCP
# common practice: below the shortest timers of carriers
DEFAULT_KEEPALIVE_S = {"udp": 25.0, "tcp": 30.0}
_PACKETS = {"udp": 1, "tcp": 4}  # over TCP a message and its acknowledgement, each way
_REKEY_BYTES_PER_DAY = 8e6 / 30
_TIME_SYNC_BYTES_PER_DAY = 4 * 152 * SECONDS_PER_DAY / 1024
_LOOKUP_BYTES_PER_DAY = 5000 * 300.0


def _tunnel(path: PathLimits) -> tuple[Background, ...]:
    keepalive_s = path.keepalive_s
    if keepalive_s is None and path.entry == "relay":
        keepalive_s = DEFAULT_KEEPALIVE_S[path.tunnel]
    if keepalive_s is None:
        return ()
    n_packets = _PACKETS[path.tunnel]
    hello = Background(
        name="tunnel keepalive",
        bytes_per_day=SECONDS_PER_DAY / keepalive_s * n_packets * KEEPALIVE_BYTES,
        # over UDP only what leaves the site keeps the carrier's mapping open
        flow="out" if path.tunnel == "udp" else "both",
        optional=False,
        source=f"arithmetic: {KEEPALIVE_BYTES:g} B each {keepalive_s:g} s"
        if path.tunnel == "udp"
        else f"common practice: a beat over TLS each {keepalive_s:g} s, "
        f"{n_packets} packets of {KEEPALIVE_BYTES:g} B",
    )
    if path.entry != "relay" or path.tunnel != "udp":
        return (hello,)
    new_keys = Background(
        name="tunnel re-key",
        bytes_per_day=_REKEY_BYTES_PER_DAY,
        flow="both",
        optional=False,
        source="arithmetic: new keys each 120 s, 8 MB in 30 days",
    )
    return (hello, new_keys)


def default_background(path: PathLimits) -> tuple[Background, ...]:
    """What a server behind `path` sends and receives on its own."""
    return (
        *_tunnel(path),
        Background(
            name="time sync",
            bytes_per_day=_TIME_SYNC_BYTES_PER_DAY,
            flow="both",
            optional=False,
            source="arithmetic: 4 time servers, 152 B a poll, one poll in 1024 s",
        ),
        Background(
            name="name look-ups",
            bytes_per_day=_LOOKUP_BYTES_PER_DAY,
            flow="both",
            optional=False,
            source="common practice: 5000 look-ups a day of 300 B",
        ),
    )
