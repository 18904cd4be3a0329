"""Servers and namespaces for the tests of measuring; nothing is left running."""

import os
import shutil
import subprocess

import pytest

from tests.emulation.conftest import missing
from tests.probe.servers import Listener, Namespaces, free_port, iperf3_server, run


@pytest.fixture(scope="session")
def iperf3():
    if shutil.which("iperf3") is None:
        if os.environ.get("CI"):
            pytest.fail("CI must have iperf3")
        pytest.skip("no program iperf3")


@pytest.fixture
def server(iperf3):
    """Port of a real iperf3 server on 127.0.0.1."""
    port = free_port()
    with iperf3_server(port):
        yield port


@pytest.fixture
def silent():
    listener = Listener()
    yield listener
    listener.close()


@pytest.fixture
def talking():
    listener = Listener(b"SSH-2.0-nothing\r\n" * 40)
    yield listener
    listener.close()


@pytest.fixture(scope="session")
def can_emulate():
    reason = "needs root" if os.geteuid() else missing()
    if reason and os.environ.get("CI"):
        pytest.fail(f"CI as root must emulate a link: {reason}")
    if reason:
        pytest.skip(reason)


@pytest.fixture
def namespaces(iperf3):
    if os.geteuid() != 0:
        pytest.skip("namespaces need root")
    name = f"lfp{os.getpid()}probe"
    made = subprocess.run(["ip", "netns", "add", name], capture_output=True, text=True, check=False)
    if made.returncode:
        if os.environ.get("CI"):
            pytest.fail(f"CI as root must make namespaces: {made.stderr}")
        pytest.skip(f"no network namespace can be made: {made.stderr.strip()}")
    run("ip", "netns", "del", name)
    with Namespaces() as spaces:
        yield spaces
