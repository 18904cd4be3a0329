"""The network interface towards a host, and what it has carried by the kernel's own counters."""

import fcntl
import socket
import struct
from dataclasses import dataclass
from pathlib import Path

from linkfit.errors import InputError

_DEVICES = Path("/proc/net/dev")
_ADDRESSES_6 = Path("/proc/net/if_inet6")
_SIOCGIFADDR = 0x8915  # linux/sockios.h
_RECEIVED_FIELD, _SENT_FIELD = 0, 8  # columns of /proc/net/dev, see proc(5)
_DISCARD_PORT = 9  # RFC 863; a datagram socket that connects sends nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Counters:
    """Bytes that an interface has received and sent since it came up, headers included."""

    received_bytes: int
    sent_bytes: int


def parse_counters(text: str) -> dict[str, Counters]:
    """Counters of every interface in the text of ``/proc/net/dev``, by its name."""
    found = {}
    for line in text.splitlines():
        name, colon, rest = line.partition(":")
        numbers = rest.split()
        if colon and len(numbers) > _SENT_FIELD:
            found[name.strip()] = Counters(
                received_bytes=int(numbers[_RECEIVED_FIELD]), sent_bytes=int(numbers[_SENT_FIELD])
            )
    return found


def read_counters(interface: str, *, devices: Path = _DEVICES) -> Counters:
    """What `interface` has carried so far.

    Raises
    ------
    InputError
        If there is no interface of this name (any more).
    """
    found = parse_counters(devices.read_text())
    if interface not in found:
        names = ", ".join(sorted(found)) or "none"
        raise InputError(f"interface: expected one of {names}, got {interface!r}; name one of them")
    return found[interface]


def local_address(host: str) -> str:
    """The address of this machine that packets towards `host` leave with; nothing is sent.

    Raises
    ------
    InputError
        If the name is not known or no route leads there.
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, _DISCARD_PORT, type=socket.SOCK_DGRAM
        )[0]
        with socket.socket(family, kind, protocol) as probe:
            probe.connect(address)
            return str(probe.getsockname()[0]).partition("%")[0]
    except OSError as error:
        raise InputError(
            f"server: expected a host that can be reached, got {host!r} ({error.strerror}); "
            "check its name and the route to it"
        ) from error


def interface_towards(host: str) -> str:
    """Name of the interface whose address packets towards `host` leave with.

    Raises
    ------
    InputError
        If no route leads there, or no interface carries the address.
    """
    address = local_address(host)
    for _, name in socket.if_nameindex():
        if address in _addresses(name):
            return name
    raise InputError(f"interface: expected one with the address {address}, got none; name it")


def _addresses(interface: str) -> set[str]:
    """IPv4 and IPv6 addresses of an interface, as text."""
    found = set()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        request = struct.pack("256s", interface.encode()[:15])
        try:
            answer = fcntl.ioctl(probe.fileno(), _SIOCGIFADDR, request)
            found.add(socket.inet_ntoa(answer[20:24]))
        except OSError:  # it has no IPv4 address, which is no fault
            pass
    if _ADDRESSES_6.exists():
        for line in _ADDRESSES_6.read_text().splitlines():
            fields = line.split()
            if fields[-1] == interface:
                found.add(socket.inet_ntop(socket.AF_INET6, bytes.fromhex(fields[0])))
    return found
