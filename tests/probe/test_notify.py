import socket

import pytest

from linkfit.probe.notify import notify


@pytest.mark.parametrize("abstract", [False, True])
def test_the_manager_gets_the_state(tmp_path, abstract):
    name = f"@linkfit-test-{tmp_path.name}" if abstract else str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0" + name[1:] if abstract else name)
        assert notify("READY=1", {"NOTIFY_SOCKET": name})
        assert manager.recv(100) == b"READY=1"


def test_without_a_manager_nothing_is_sent(tmp_path):
    assert not notify("READY=1", {})
    assert not notify("READY=1", {"NOTIFY_SOCKET": str(tmp_path / "gone")})
