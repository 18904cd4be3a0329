import configparser
import shlex
import shutil
import subprocess

import pytest

from linkfit.probe.unit import unit_text

COMMAND = ["/usr/bin/true", "record", "--store", "camp 100%.store", "--interface", "wwan0"]


def sections(text):
    parser = configparser.RawConfigParser(strict=True)
    parser.optionxform = str
    parser.read_string(text)
    return parser


def test_it_runs_the_command_as_it_was_given():
    line = sections(unit_text(COMMAND))["Service"]["ExecStart"]
    assert [word.replace("%%", "%") for word in shlex.split(line)] == COMMAND


def test_it_is_watched_shut_in_and_started_again():
    service = sections(unit_text(COMMAND))["Service"]
    wanted = {"Type": "notify", "DynamicUser": "yes", "StateDirectory": "linkfit",
              "Restart": "always", "ProtectSystem": "strict", "NoNewPrivileges": "yes",
              "CapabilityBoundingSet": "CAP_NET_RAW"}  # fmt: skip
    assert {key: service[key] for key in wanted} == wanted
    assert int(service["WatchdogSec"]) >= 3 * 10  # the loop tells it every 10 s
    assert service["MemoryMax"].endswith("M")


def test_the_service_manager_finds_nothing_wrong_with_it(tmp_path):
    program = shutil.which("systemd-analyze")
    if program is None:
        pytest.skip("systemd-analyze is not installed")
    unit = tmp_path / "linkfit-record.service"
    unit.write_text(unit_text(COMMAND))
    done = subprocess.run(
        [program, "verify", str(unit)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
