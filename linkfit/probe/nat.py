"""What stands between this machine and the internet: its address, and the one a server saw."""

import re
from dataclasses import dataclass

from linkfit.addresses import address_kind, is_translated, parse_address

_ACCEPTED = re.compile(r"Accepted connection from (?P<address>[0-9a-fA-F.:]+), port")
_MAPPED = "::ffff:"  # an IPv4 address as a socket for both families shows it


@dataclass(frozen=True, slots=True, kw_only=True)
class Translation:
    """What is known of address translation, in words and as a kind.

    `kind` is "none" (the server saw the address this machine has), "carrier" (the carrier
    translates: nobody outside can connect), "router" (the user's own router does, and nobody
    behind it), "private" (a router translates, and perhaps the carrier as well), "translated" (a
    public address, but the server saw another one), or "unknown" (no server said what it saw).
    """

    kind: str
    own_address: str
    seen_address: str | None
    wan_address: str | None = None
    why: str = ""

    @property
    def text(self) -> str:
        """One sentence for a person, with what follows for a server behind it."""
        seen = self.seen_address or "?"
        return _SENTENCES[self.kind].format(own=self.own_address, seen=seen, why=self.why)


_SENTENCES = {
    "none": "no address translation: the server saw this machine's own address {own}; "
    "connections from outside may still be filtered",
    "carrier": "the carrier translates addresses ({why}): nobody outside can connect, hold a "
    "tunnel open from here",
    "router": "your router translates addresses, the carrier does not ({why}): a port forwarded "
    "there may be reached from outside, if nothing filters it",
    "private": "a router translates addresses (own {own}, seen as {seen}); whether the carrier "
    "does so as well tells the router's outside address: give it as --wan-address",
    "translated": "somebody on the way translates addresses (own {own}, seen as {seen}): "
    "hold a tunnel open from here",
    "unknown": "own address {own}; no server said which one it saw",
}


def tell_translation(
    own_address: str, seen_address: str | None, wan_address: str | None = None
) -> Translation:
    """The class of address translation from two or three addresses.

    Parameters
    ----------
    own_address : str
        Of the interface that packets leave by.
    seen_address : str or None
        What the server saw; None if it did not say.
    wan_address : str or None
        What the carrier gave the router, where the user knows it.

    Raises
    ------
    InputError
        If one of them is no address.

    Notes
    -----
    An address alone misses cases (carriers use other ranges, too), so a difference between two
    of them always counts as translation.
    Source: RFC 6598 section 7 (shared address space), RFC 1918 section 3 (private addresses).
    """
    own = _plain(own_address, "own_address")
    seen = None if seen_address is None else _plain(seen_address, "seen_address")
    wan = None if wan_address is None else _plain(wan_address, "--wan-address")
    kind, why = _kind(own, seen, wan)
    return Translation(kind=kind, own_address=own, seen_address=seen, wan_address=wan, why=why)


def _kind(own: str, seen: str | None, wan: str | None) -> tuple[str, str]:
    """The class, and what tells it where the carrier or the router is named."""
    if address_kind(own) == "shared":
        return "carrier", is_translated(own)[1]
    if own == seen:
        return "none", ""
    if wan is not None:
        by_carrier, why = is_translated(wan, seen)
        if by_carrier is not None:
            return ("carrier" if by_carrier else "router"), why
    if seen is None:
        return "unknown", ""
    # unique local addresses of IPv6 (RFC 4193) and what else is not routed outside count, too
    return ("translated" if address_kind(own) == "public" else "private"), ""


def seen_address(server_output: str) -> str | None:
    """The client's address in what an iperf3 server printed of its test."""
    found = _ACCEPTED.search(server_output)
    return None if found is None else found["address"].removeprefix(_MAPPED)


def _plain(text: str, name: str) -> str:
    return str(parse_address(text.strip().removeprefix(_MAPPED), name))
