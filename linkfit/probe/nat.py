"""What stands between this machine and the internet: its address, and the one a server saw."""

import ipaddress
import re
from dataclasses import dataclass

from linkfit.errors import InputError

SHARED_SPACE = ipaddress.ip_network("100.64.0.0/10")  # RFC 6598: between carrier and customer
_ACCEPTED = re.compile(r"Accepted connection from (?P<address>[0-9a-fA-F.:]+), port")
_MAPPED = "::ffff:"  # an IPv4 address as a socket for both families shows it


@dataclass(frozen=True, slots=True, kw_only=True)
class Translation:
    """What is known of address translation, in words and as a kind.

    `kind` is "none" (the server saw the address this machine has), "shared" (this machine has an
    address of RFC 6598, so the carrier translates), "private" (RFC 1918 or its like: a router
    translates, and perhaps the carrier as well), "translated" (a public address, but the server
    saw another one), or "unknown" (no server said what it saw).
    """

    kind: str
    own_address: str
    seen_address: str | None

    @property
    def text(self) -> str:
        """One sentence for a person, with what follows for a server behind it."""
        return _SENTENCES[self.kind].format(own=self.own_address, seen=self.seen_address or "?")


_SENTENCES = {
    "none": "no address translation: the server saw this machine's own address {own}; "
    "connections from outside may still be filtered",
    "shared": "the carrier translates addresses ({own} is of the shared space of RFC 6598): "
    "nobody outside can connect, hold a tunnel open from here",
    "private": "a router translates addresses (own {own}, seen as {seen}); whether the carrier "
    "does so as well shows the router's own outside address: compare it with {seen}",
    "translated": "somebody on the way translates addresses (own {own}, seen as {seen}): "
    "hold a tunnel open from here",
    "unknown": "own address {own}; no server said which one it saw",
}


def tell_translation(own_address: str, seen_address: str | None) -> Translation:
    """The class of address translation from two addresses.

    Parameters
    ----------
    own_address : str
        Of the interface that packets leave by.
    seen_address : str or None
        What the server saw; None if it did not say.

    Raises
    ------
    InputError
        If one of them is no address.

    Notes
    -----
    An address alone misses cases (carriers use other ranges, too), so a difference between the
    two always counts as translation.
    Source: RFC 6598 section 7 (shared address space), RFC 1918 section 3 (private addresses).
    """
    own = _address("own_address", own_address)
    seen = None if seen_address is None else _address("seen_address", seen_address)
    if isinstance(own, ipaddress.IPv4Address) and own in SHARED_SPACE:
        kind = "shared"
    elif seen is not None and own == seen:
        kind = "none"
    elif own.is_private:
        kind = "private" if seen is not None else "unknown"
    else:
        kind = "translated" if seen is not None else "unknown"
    return Translation(
        kind=kind, own_address=str(own), seen_address=None if seen is None else str(seen)
    )


def seen_address(server_output: str) -> str | None:
    """The client's address in what an iperf3 server printed of its test."""
    found = _ACCEPTED.search(server_output)
    return None if found is None else found["address"].removeprefix(_MAPPED)


def _address(name: str, text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    try:
        return ipaddress.ip_address(text.removeprefix(_MAPPED))
    except ValueError as error:
        raise InputError(f"{name}: expected an IP address, got {text!r}") from error
