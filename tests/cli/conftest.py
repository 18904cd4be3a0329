"""The command line run in this process, on small invented files."""

import io
import sys

import numpy as np
import pytest

from linkfit.cli.app import main

SITE = """\
[site]
name = "Kestrel Ridge dig"
timezone = "Europe/Lisbon"
[plan]
cap = "60 GB"
after_cap = "512 kbit/s"
[[service]]
name = "team chat"
kind = "chat"
users = 3
[[backlog]]
name = "season photos"
items = 400
size = { median = "3.5 MB", spread = 1.6 }
flow = "out"
deadline = 2026-07-31
"""


@pytest.fixture
def run(capsys, monkeypatch):
    """Run the command line: exit code, stdout, stderr."""

    def run(*arguments, stdin=b"", columns=80):
        monkeypatch.setenv("COLUMNS", str(columns))
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin), encoding="utf-8"))
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return ended.value.code, out, err

    return run


@pytest.fixture
def trace_file(tmp_path):
    """Two minutes of 1 s rates in both directions."""
    rng = np.random.default_rng(11)
    lines = ["time,direction,duration_s,rate_bps"]
    for direction, median in (("up", 6e6), ("down", 24e6)):
        rates = rng.lognormal(np.log(median), 0.3, 120)
        hour = 8 if direction == "up" else 9
        lines += [
            f"2026-06-15T{hour:02d}:{i // 60:02d}:{i % 60:02d}Z,{direction},1,{rate:.0f}"
            for i, rate in enumerate(rates)
        ]
    path = tmp_path / "tests.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture
def steady_file(tmp_path):
    """Half an hour whose seconds resemble each other long: weeks of futures are drawn fast."""
    waves = np.exp(0.3 * np.sin(np.arange(1800) / 200))
    lines = ["time,direction,duration_s,rate_bps"]
    for hour, direction, rates in ((8, "up", 6e6 * waves), (9, "down", 24e6 * waves)):
        lines += [
            f"2026-06-15T{hour:02d}:{i // 60:02d}:{i % 60:02d}Z,{direction},1,{rate:.0f}"
            for i, rate in enumerate(rates)
        ]
    path = tmp_path / "steady.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture
def site_file(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text(SITE)
    return path


@pytest.fixture
def quick():
    """A link given by hand."""
    return ["--down", "24 Mbit/s", "--up", "6 Mbit/s", "--rtt", "55 ms"]
