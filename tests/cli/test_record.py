import signal

import pytest


@pytest.fixture(autouse=True)
def signals():
    kept = {n: signal.getsignal(n) for n in (signal.SIGTERM, signal.SIGINT)}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


def test_the_unit_is_printed_and_nothing_is_recorded(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, _ = run("record", "--unit", "--interface", "lo", "--daily-budget", "20 MB")
    assert code == 0
    assert "[Service]\nType=notify" in out
    assert list(tmp_path.iterdir()) == []


def test_what_is_recorded_is_a_link_for_other_commands(run, tmp_path):
    store = tmp_path / "camp.store"
    code, out, err = run("record", "--store", store, "--interface", "lo", "--stop-after", "2 s")
    assert (code, out) == (0, "")
    assert "recording lo" in err
    code, out, _ = run("inspect", store)
    assert code == 0
    assert "linkfit store, interface counters" in " ".join(out.split())


def test_wrong_options_are_refused_together(run, tmp_path):
    code, _, err = run("record", "--store", tmp_path / "s", "--metrics", "x", "--most-size", "1 B")
    assert code == 2
    for option in ("--metrics", "--most-size", "--interface"):
        assert option in err
