"""What a router's own address tells of address translation by the carrier."""

from ipaddress import AddressValueError, IPv4Address, IPv4Network, IPv6Address, ip_address

from linkfit.errors import InputError

SHARED_SPACE = IPv4Network("100.64.0.0/10")  # RFC 6598: between carrier and customer
PRIVATE_SPACES = tuple(map(IPv4Network, ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16")))


def address_kind(text: str, *, where: str = "address") -> str:
    """One of "shared" (RFC 6598), "private" (RFC 1918), "public", "other" (loopback, ...).

    Raises
    ------
    InputError
        If `text` is no IP address.
    """
    address = parse_address(text, where)
    if isinstance(address, IPv4Address):
        if address in SHARED_SPACE:
            return "shared"
        if any(address in space for space in PRIVATE_SPACES):
            return "private"
    return "public" if address.is_global else "other"


def is_translated(wan: str, seen: str | None = None) -> tuple[bool | None, str]:
    """Does the carrier translate addresses? True, False or None (cannot be told), and why.

    Parameters
    ----------
    wan : str
        The address that the carrier gave the router.
    seen : str, optional
        The address at which a host on the internet sees it.

    Notes
    -----
    Carriers use other ranges too, so that a public-looking address alone proves nothing.
    """
    kind = address_kind(wan, where="--wan-address")
    if kind == "shared":
        return True, f"{wan} lies in 100.64.0.0/10, the space carriers share (RFC 6598)"
    if kind == "private":
        return True, f"{wan} is a private address (RFC 1918)"
    if kind == "other":
        return None, f"{wan} is no address of a carrier; look at the router's status page"
    if seen is None:
        return None, f"{wan} looks public; give --seen-address, as a host outside sees it"
    if parse_address(seen, "--seen-address") != parse_address(wan, "--wan-address"):
        return True, f"{wan} is seen outside as {seen}"
    return False, f"{wan} is seen outside as itself"


def parse_address(text: str, where: str = "address") -> IPv4Address | IPv6Address:
    """`text` as an address.

    Raises
    ------
    InputError
        If it is none.
    """
    try:
        return ip_address(text.strip())
    except (AddressValueError, ValueError) as error:
        raise InputError(
            f"{where}: expected an IP address, got {text!r}; write '100.72.3.4'"
        ) from error
