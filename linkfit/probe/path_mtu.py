"""The largest packet that reaches a host whole, searched by ping with the don't-fragment bit."""

import math
import os
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass

from linkfit._checks import count

# smallest packet every link must carry: RFC 791 section 3.1 (68, here the 576 that every host
# takes), RFC 8200 section 5
_LEAST_BYTES = {4: 576, 6: 1280}
_HEADER_BYTES = {4: 28, 6: 48}  # IP and ICMP headers around what ping calls its size
_USUAL_MOST_BYTES = 1500  # Ethernet (RFC 894); larger ones are asked for only if it passes
_TRIES = 2  # one probe may get lost
_PATIENCE_S = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PathMtu:
    """Largest IP packet that was answered, and whether larger ones vanish without a word.

    `silent` True: packets above it were dropped and nobody said so (a black hole, RFC 2923).
    """

    mtu_bytes: int
    silent: bool


def find_path_mtu(
    answers: Callable[[int], bool | None], *, ip_version: int, most_bytes: int = _USUAL_MOST_BYTES
) -> PathMtu | None:
    """Search between the least every path carries and `most_bytes` by halving.

    Parameters
    ----------
    answers : callable
        Told the length of an IP packet: True where it was answered, False where somebody said
        that it is too long, None where nothing came back.
    ip_version : {4, 6}
        Of the packets.
    most_bytes : int
        Largest that the own interface takes. [bytes]

    Returns
    -------
    mtu : PathMtu or None
        None if not even the smallest is answered.
    """
    low = _LEAST_BYTES[ip_version]
    high = max(count("most_bytes", most_bytes), low)
    if answers(low) is not True:
        return None
    silent = False
    while low < high:
        middle = (low + high + 1) // 2
        told = answers(middle)
        if told:
            low = middle
        else:
            high = middle - 1
            silent = told is None  # of the shortest that failed, which is the last
    return PathMtu(mtu_bytes=low, silent=silent)


def ping_answers(host: str, *, ip_version: int) -> Callable[[int], bool | None]:
    """A question for `find_path_mtu`, asked by the system's ping."""
    program = shutil.which("ping")

    def answers(packet_bytes: int) -> bool | None:
        if program is None:
            return None
        size = packet_bytes - _HEADER_BYTES[ip_version]
        command = [program, f"-{ip_version}", "-n", "-M", "do", "-c", "1", "-s", str(size),
                   "-W", str(math.ceil(_PATIENCE_S)), host]  # fmt: skip
        for _ in range(_TRIES):
            try:
                # the program of the system, and a host that getaddrinfo has taken
                done = subprocess.run(  # noqa: S603
                    command, capture_output=True, text=True, check=False,
                    timeout=_PATIENCE_S + 3, env={**os.environ, "LC_ALL": "C"},
                )  # fmt: skip
            except subprocess.TimeoutExpired:
                continue
            if done.returncode == 0:
                return True
            said = (done.stdout + done.stderr).lower()
            if "too long" in said or "too big" in said or "frag needed" in said:
                return False
        return None

    return answers
