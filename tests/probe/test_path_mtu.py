import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.probe.path_mtu import PathMtu, find_path_mtu, ping_answers


def path_of(mtu_bytes, *, too_long=False):
    return lambda packet_bytes: True if packet_bytes <= mtu_bytes else too_long


@given(st.integers(576, 9000), st.integers(576, 9000))
def test_the_search_finds_the_largest_that_passes(mtu_bytes, most_bytes):
    found = find_path_mtu(path_of(mtu_bytes), ip_version=4, most_bytes=most_bytes)
    assert found == PathMtu(mtu_bytes=min(mtu_bytes, most_bytes), silent=False)


def test_packets_that_vanish_without_a_word_are_a_black_hole():
    found = find_path_mtu(path_of(1420, too_long=None), ip_version=4)
    assert found == PathMtu(mtu_bytes=1420, silent=True)


def test_of_two_limits_the_lower_one_tells_whether_it_is_silent():
    def answers(packet_bytes):
        return True if packet_bytes <= 1280 else None if packet_bytes <= 1400 else False

    assert find_path_mtu(answers, ip_version=6) == PathMtu(mtu_bytes=1280, silent=True)


def test_a_host_that_answers_no_ping_tells_nothing():
    assert find_path_mtu(lambda _bytes: None, ip_version=4) is None


@pytest.mark.parametrize("version", [4, 6])
def test_the_search_takes_a_dozen_questions_at_most(version):
    asked = []
    find_path_mtu(lambda n: asked.append(n) or n <= 1492, ip_version=version)
    assert len(asked) <= 11  # 1 + log2(1500 - 576)


def test_a_size_that_is_none_is_named():
    with pytest.raises(InputError, match=r"most_bytes: .* got 0"):
        find_path_mtu(path_of(1500), ip_version=4, most_bytes=0)


@pytest.mark.root
@pytest.mark.parametrize(("host", "version"), [("198.18.0.2", 4), ("fd00:18::2", 6)])
def test_real_packets_through_a_narrow_path(namespaces, host, version):
    namespaces.mtu(1400)
    code = (
        "from linkfit.probe.path_mtu import find_path_mtu, ping_answers;"
        f"a = ping_answers({host!r}, ip_version={version});"
        f"print(find_path_mtu(a, ip_version={version}).mtu_bytes)"
    )
    assert namespaces.python(code).strip() == "1400"


def test_without_ping_nothing_is_answered(monkeypatch):
    monkeypatch.setenv("PATH", "")
    assert ping_answers("127.0.0.1", ip_version=4)(576) is None
