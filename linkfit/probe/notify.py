"""Telling the service manager how it goes: sd_notify(3), a datagram to the socket it names."""

import os
import socket
from collections.abc import Mapping


def notify(state: str, environment: Mapping[str, str] = os.environ) -> bool:
    """Send `state` ("READY=1", "WATCHDOG=1", "STATUS=..."); False if nobody listens."""
    address = environment.get("NOTIFY_SOCKET", "")
    if not address:
        return False
    if address.startswith("@"):  # an abstract socket
        address = "\0" + address[1:]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as manager:
        try:
            manager.connect(address)
            manager.sendall(state.encode())
        except OSError:  # it went away: recording goes on without it
            return False
    return True
