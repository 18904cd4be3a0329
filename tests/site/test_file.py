"""The site file: the contract example, and everything that can be wrong with a file."""

import io
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pytest

from linkfit.errors import ConfigError
from linkfit.site.file import MAX_FILE_BYTES, parse_site, read_site
from linkfit.site.hours import DayWindow
from linkfit.site.model import SizeLaw

EXAMPLE = Path(__file__).parents[2] / "examples" / "kestrel-ridge.toml"
CONTRACT = """\
[site]
name = "Kestrel Ridge dig"
timezone = "Europe/Lisbon"
[plan]
cap = "60 GB"              # per cycle; GB = 1e9, GiB = 2^30
counted = "both"           # both | up | down
cycle_day = 5
after_cap = "512 kbit/s"   # a rate, "stop", or { price_per_GB = 4.0 }
[path]
entry = "relay"            # relay (outbound tunnel to a relay) | direct
relay_rtt = "18 ms"
tunnel_overhead = "60 B"   # per packet
body_limit = "100 MB"      # largest request body the path carries
idle_timeout = "100 s"
same_link_share = 0.4      # share of users who sit on the same link
[hours]
up = ["06:30-22:00"]       # or [power]: battery = "640 Wh", load = "13 W", panel = "120 W"
[[service]]
name = "finds catalogue"
kind = "photo-library"     # brings its tasks, each of which can be overridden
users = 8
  [[service.task]]
  name = "add a photo"
  flow = "in"
  size = { median = "3.5 MB", spread = 1.6 }   # geometric standard deviation
  per_user_day = 40
  target = "60 s"          # for the 95th percentile
[[backlog]]
name = "season photos"
items = 4200
size = { median = "3.5 MB", spread = 1.6 }
flow = "out"
resumable = true
deadline = 2026-07-31
"""


def test_the_contract_example_has_the_right_values():
    site = parse_site(CONTRACT)
    assert (site.name, site.timezone) == ("Kestrel Ridge dig", "Europe/Lisbon")
    assert (site.plan.cap_bytes, site.plan.counted, site.plan.cycle_day) == (60e9, "both", 5)
    assert (site.plan.throttle_bps, site.plan.price_per_gb) == (512e3, None)
    assert site.path.entry == "relay"
    assert site.path.relay_rtt_s == pytest.approx(0.018)
    assert site.path.tunnel_overhead_bytes == 60
    assert site.path.body_limit_bytes == 100e6
    assert site.path.idle_timeout_s == 100
    assert site.path.same_link_share_frac == 0.4
    assert site.hours.windows == (DayWindow(start_h=6.5, end_h=22.0),)
    assert site.hours.power is None
    (service,) = site.services
    assert (service.name, service.kind, service.n_users) == ("finds catalogue", "photo-library", 8)
    (backlog,) = site.backlogs
    assert backlog.n_items == 4200
    assert backlog.size == SizeLaw(median_bytes=3.5e6, spread=1.6)
    assert (backlog.flow, backlog.resumable) == ("out", True)
    assert backlog.deadline == date(2026, 7, 31)


def test_the_contract_example_overrides_one_task_and_keeps_the_others_of_the_kind():
    (service,) = parse_site(CONTRACT).services
    tasks = {task.name: task for task in service.tasks}
    assert list(tasks) == [
        "open the grid", "view a photo", "get an original", "add a photo", "add a clip",
    ]  # fmt: skip
    assert tasks["add a photo"].per_user_day == 40
    assert tasks["add a photo"].target_s == 60
    assert tasks["add a photo"].per_item_s == 0.5, "keys that the file leaves out stay"
    assert tasks["open the grid"].n_requests == 60


@pytest.mark.parametrize(
    ("written", "price", "throttle_bps"),
    [('"stop"', None, None), ("{ price_per_GB = 4.0 }", 4.0, None), ('"1 Mbit/s"', None, 1e6)],
)
def test_after_the_cap_one_of_three(written, price, throttle_bps):
    plan = parse_site(CONTRACT.replace('"512 kbit/s"', written)).plan
    assert (plan.price_per_gb, plan.throttle_bps) == (price, throttle_bps)


def test_power_instead_of_hours():
    text = CONTRACT.replace(
        'up = ["06:30-22:00"]',
        'battery = "640 Wh"\nload = "13 W"\npanel = "120 W"\nsun_hours = 3.5\nusable = 0.85',
    ).replace("[hours]", "[power]")
    power = parse_site(text).hours.power
    assert (power.battery_wh, power.load_w, power.panel_w) == (640, 13, 120)
    assert (power.sun_hours, power.usable_frac, power.yield_frac) == (3.5, 0.85, 0.6)


def test_binary_prefixes_are_powers_of_1024():
    # IEC 80000-13: GiB = 2^30 bytes
    assert parse_site(CONTRACT.replace("60 GB", "60 GiB")).plan.cap_bytes == 60 * 2**30


@pytest.mark.parametrize(
    "raw",
    [
        CONTRACT.encode(),
        b"\xef\xbb\xbf" + CONTRACT.encode(),
        CONTRACT.replace("\n", "\r\n").encode(),
    ],
    ids=["plain", "byte order mark", "CRLF"],
)
def test_ways_to_save_the_same_file(tmp_path, raw):
    path = tmp_path / "site.toml"
    path.write_bytes(raw)
    assert read_site(path) == read_site(str(path)) == parse_site(CONTRACT)


def test_reads_standard_input(monkeypatch):
    stdin = SimpleNamespace(buffer=io.BytesIO(CONTRACT.encode()))
    monkeypatch.setattr("sys.stdin", stdin)
    assert read_site("-") == parse_site(CONTRACT)


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (
            '[site]\nname = "Grabung Süd"\n'.encode("latin-1"),
            r":2:18: expected UTF-8 text, got byte 0xfc; save",
        ),
        (CONTRACT.encode("utf-16"), "got UTF-16 or binary data; save the file as UTF-8"),
        (CONTRACT.encode("utf-16-le"), "got UTF-16 or binary data"),
        (b"\0" * 50, "got UTF-16 or binary data"),
        (b"", r"site: expected a table, got nothing; add \[site\]"),
        (b"[site]\nname = \n", r":2:8: expected TOML, got: Invalid value; see"),
        (b'[site]\nname = "x', r":2:\d+: expected TOML, got: "),
        (b'[site]\nname = "x"\nname = "y"\n', r":3:\d+: expected TOML, got: Cannot overwrite"),
        (b"[site]\nname = " + b"[" * 5000, "tables nested too deep"),
        (b"[site]\nname = " + b"9" * 5000, "expected TOML, got: "),
        (b"#" * (MAX_FILE_BYTES + 1), "expected a site file of at most 4 MB, got more"),
    ],
)
def test_files_that_are_no_site_file(tmp_path, raw, message):
    path = tmp_path / "site.toml"
    path.write_bytes(raw)
    with pytest.raises(ConfigError, match=message) as caught:
        read_site(path)
    assert str(caught.value).startswith(str(path))
    assert caught.value.exit_code == 2


def test_a_missing_file_and_a_directory(tmp_path):
    with pytest.raises(ConfigError, match=r"absent\.toml: expected a readable site file, got: No"):
        read_site(tmp_path / "absent.toml")
    with pytest.raises(ConfigError, match="expected a readable site file, got: Is a directory"):
        read_site(tmp_path)
    with pytest.raises(ConfigError, match="expected a readable site file, got: embedded null"):
        read_site("a\0b")


def test_the_bundled_camp_parses_and_has_what_its_comments_say():
    site = read_site(EXAMPLE)
    assert site.name == "Kestrel Ridge dig"
    assert (site.plan.cap_bytes, site.plan.cycle_day, site.plan.throttle_bps) == (60e9, 5, 512e3)
    assert site.hours.windows == (DayWindow(start_h=6.5, end_h=22.0),)
    kinds = [service.kind for service in site.services]
    assert kinds == [
        "photo-library", "web-app", "cameras", "chat", "remote-shell", "backup",
        "media-streaming", "upkeep",
    ]  # fmt: skip
    talks = site.services[6]
    assert [task.name for task in talks.tasks] == ["episode at 720p"]
    assert [backlog.name for backlog in site.backlogs] == ["season photos"]
    assert "laptops fetching updates" in {cause.name for cause in site.background}
