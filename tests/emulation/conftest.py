"""What an emulation needs, and that only one runs at a time on this machine."""

import fcntl
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

LOCK = Path(tempfile.gettempdir()) / "linkfit-emulation.lock"


def missing():
    """Why no link can be emulated here; None if one can."""
    try:
        os.close(os.open("/dev/net/tun", os.O_RDWR | os.O_CLOEXEC))
    except OSError as error:  # a node without its module, or kept from a container, too
        return f"no TUN device: {error}"
    if shutil.which("ip") is None:
        return "no ip command (Debian: iproute2)"
    name = f"linkfit-{os.getpid()}-probe"
    made = subprocess.run(["ip", "netns", "add", name], capture_output=True, text=True, check=False)
    if made.returncode:
        return f"no network namespace can be made: {made.stderr.strip()}"
    subprocess.run(["ip", "netns", "del", name], check=True)
    return None


@pytest.fixture(scope="session")
def can_emulate():
    if os.geteuid() != 0:
        pytest.skip("an emulated link needs root")
    reason = missing()
    if reason and os.environ.get("CI") == "true":
        pytest.fail(f"CI as root must emulate a link: {reason}")
    if reason:
        pytest.skip(reason)


@pytest.fixture
def emulation(can_emulate):
    """Two emulations at once would make each other late, whatever runs the tests."""
    with LOCK.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
