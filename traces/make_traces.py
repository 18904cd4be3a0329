"""Write the invented measurements of the examples: the same bytes on every run.

Nothing here was measured. The link of the dig camp Kestrel Ridge is thought up so that it has
what real cellular links have: a slow evening, minutes that hang together, short outages and one
long one, a queue that fills while the link is busy, nights that nobody measured, and a script
that once wrote a test twice. Only the standard library draws, so no other library's release can
change a byte.

Three smaller places have a link of the same make with less to find: a veterinary van, a village
festival and a weather station on a hill.

Run ``python traces/make_traces.py`` to rewrite all folders; ``--output`` names another parent.
"""

import argparse
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

SEED = 20260615
FIRST_DAY = datetime(2026, 6, 15, tzinfo=UTC)
N_DAYS = 14
LOCAL_OFFSET_H = 1  # Europe/Lisbon in June: UTC+1
TEST_TIMES_H = (7.1, 9.6, 12.5, 15.3, 18.2, 20.6)  # local; the camp sleeps from 22:00 to 06:30
LONG_OUTAGE = (datetime(2026, 6, 20, 14, 12, tzinfo=UTC), datetime(2026, 6, 20, 14, 51, tzinfo=UTC))
SLOW_STEP_S = 600
IDLE_RTT_S = 0.048
PEER = "198.51.100.7"  # an address for documentation (RFC 5737)


@dataclass(frozen=True)
class Direction:
    """What one direction of the invented link is like."""

    name: str
    median_bps: float
    evening_frac: float  # what is left of the rate at the slowest minute of the evening
    slow_spread: float  # standard deviation of the log rate between hours and days
    fast_spread: float  # and from second to second
    fast_memory: float  # correlation of one second with the next
    buffer_bytes: float


UP = Direction("up", 6.9e6, 0.55, 0.24, 0.33, 0.86, 260e3)
DOWN = Direction("down", 27e6, 0.42, 0.26, 0.28, 0.78, 700e3)


class Link:
    """The invented link: one slow state for both directions, fast states for each test."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        n_steps = N_DAYS * 86400 // SLOW_STEP_S + 2
        memory = math.exp(-SLOW_STEP_S / (5 * 3600))
        self.slow = [rng.gauss(0, 1)]
        for _ in range(n_steps - 1):
            shock = rng.gauss(0, math.sqrt(1 - memory**2))
            self.slow.append(memory * self.slow[-1] + shock)

    def typical_bps(self, direction: Direction, when: datetime) -> float:
        """Rate at `when` before the second-to-second noise. [bit/s]"""
        position = (when - FIRST_DAY).total_seconds() / SLOW_STEP_S
        index = int(position)
        part = position - index
        slow = self.slow[index] * (1 - part) + self.slow[index + 1] * part
        hour = (when.hour + when.minute / 60 + LOCAL_OFFSET_H) % 24
        evening = math.exp(-(((hour - 20.3) / 1.7) ** 2))
        factor = 1 - (1 - direction.evening_frac) * evening
        return direction.median_bps * factor * math.exp(direction.slow_spread * slow)

    def rates_bps(self, direction: Direction, start: datetime) -> Iterator[float]:
        """Goodput of each second of a busy link from `start` on, without end. [bit/s]"""
        noise = self.rng.gauss(0, 1)
        outage_left_s = 0.0
        second = 0
        while True:
            when = start + timedelta(seconds=second)
            shock = self.rng.gauss(0, math.sqrt(1 - direction.fast_memory**2))
            noise = direction.fast_memory * noise + shock
            if outage_left_s <= 0 and self.rng.random() < 0.0022:
                outage_left_s = self.rng.expovariate(1 / 3.5)
            up_frac = 1 - min(max(outage_left_s, 0.0), 1.0)
            outage_left_s -= 1
            if LONG_OUTAGE[0] <= when < LONG_OUTAGE[1]:
                up_frac = 0.0
            if second == 0:
                up_frac *= 0.45  # the sender starts slowly
            rate = self.typical_bps(direction, when)
            yield rate * math.exp(direction.fast_spread * noise) * up_frac
            second += 1

    def rtt_s(self, when: datetime, busy: Direction | None = None) -> float | None:
        """Round trip of one probe, None if it was lost. [s]"""
        lost_prob = 0.004 if busy is None else 0.012
        if LONG_OUTAGE[0] <= when < LONG_OUTAGE[1] or self.rng.random() < lost_prob:
            return None
        rtt = 0.034 + (IDLE_RTT_S - 0.034) * math.exp(self.rng.gauss(0, 0.55))
        if busy is not None:
            rate = self.typical_bps(busy, when) * math.exp(self.rng.gauss(0, 0.3))
            rtt += busy.buffer_bytes * 8 / rate * self.rng.uniform(0.55, 1.0)
        return rtt


def local(day: int, hour: float) -> datetime:
    """`hour` of the camp's clock on `day`, in UTC."""
    return FIRST_DAY + timedelta(days=day, hours=hour - LOCAL_OFFSET_H)


def stamp(when: datetime) -> str:
    """UTC, to the second."""
    return when.strftime("%Y-%m-%dT%H:%M:%SZ")


def test_rows(link: Link, direction: Direction, start: datetime, n_s: int) -> list[str]:
    """One saturating test: a line a second."""
    rates = link.rates_bps(direction, start)
    return [
        f"{stamp(start + timedelta(seconds=i))},{direction.name},1,{round(next(rates), -3):.0f}"
        for i in range(n_s)
    ]


def speed_tests(link: Link) -> tuple[list[str], list[tuple[Direction, datetime]]]:
    """Six tests a day in each direction, and when each began."""
    rows, starts = [], []
    for day in range(N_DAYS):
        for hour in TEST_TIMES_H:
            if link.rng.random() < 0.06:
                continue  # somebody had pulled the plug
            start = local(day, hour) + timedelta(seconds=link.rng.randrange(-900, 900))
            down = test_rows(link, DOWN, start, 10)
            up = test_rows(link, UP, start + timedelta(seconds=12), 20)
            starts += [(DOWN, start), (UP, start + timedelta(seconds=12))]
            rows += down + up
            if (day, hour) == (4, 12.5):
                rows += up  # the script wrote this test twice
    return rows, starts


def long_uploads(link: Link) -> list[str]:
    """Ten minutes of busy uplink, six times: how the minutes hang together."""
    times = ((1, 8.4), (3, 13.0), (5, 20.2), (8, 10.5), (10, 16.4), (12, 21.1))
    return [row for day, hour in times for row in test_rows(link, UP, local(day, hour), 600)]


def latency_rows(link: Link, tests: list[tuple[Direction, datetime]]) -> list[str]:
    """A probe each five minutes while the camp is awake, and three during each test."""
    probes: list[tuple[datetime, Direction | None]] = []
    for day in range(N_DAYS):
        start = local(day, 6.5)
        probes += [(start + timedelta(minutes=5 * i), None) for i in range(186)]
    for direction, start in tests:
        probes += [(start + timedelta(seconds=s), direction) for s in (3, 5, 8)]
    rows = []
    for when, busy in sorted(probes, key=lambda probe: probe[0]):
        rtt = link.rtt_s(when, busy)
        shown = "" if rtt is None else f"{rtt * 1e3:.1f}"
        rows.append(f"{stamp(when)},{shown},1,{int(rtt is None)},{int(busy is not None)}")
    return rows


def photo_uploads(link: Link) -> list[str]:
    """Real uploads of finds photos: size and time from the first packet to the answer."""
    rows = []
    for day in range(2, N_DAYS):
        for _ in range(6):
            start = local(day, link.rng.uniform(8, 21.5)).replace(microsecond=0)
            size_bytes = round(3.5e6 * math.exp(link.rng.gauss(0, math.log(1.6))))
            rtt = link.rtt_s(start) or IDLE_RTT_S
            left_bits, duration_s = size_bytes * 8.0, 5 * rtt
            rates = link.rates_bps(UP, start)
            while left_bits > 0:
                rate = next(rates)
                duration_s += min(1.0, left_bits / rate if rate > 0 else 1.0)
                left_bits -= rate
            rows.append((start, f"{stamp(start)},up,{size_bytes},{duration_s:.2f}"))
    return [row for _, row in sorted(rows)]


def ping_text(link: Link, start: datetime, n_probes: int) -> list[str]:
    """What a ping of one second prints, with the time before each line."""
    lines = [f"PING {PEER} ({PEER}) 56(84) bytes of data."]
    rtts = []
    for i in range(n_probes):
        when = start + timedelta(seconds=i)
        rtt = link.rtt_s(when)
        if rtt is None:
            continue
        rtts.append(rtt * 1e3)
        at = f"{when.timestamp() + rtt:.6f}"
        reply = f"64 bytes from {PEER}: icmp_seq={i + 1} ttl=52 time={rtt * 1e3:.1f} ms"
        lines.append(f"[{at}] {reply}")
    mean = sum(rtts) / len(rtts)
    spread = math.sqrt(sum((r - mean) ** 2 for r in rtts) / len(rtts))
    lost = 100 * (1 - len(rtts) / n_probes)
    lines += [
        "",
        f"--- {PEER} ping statistics ---",
        f"{n_probes} packets transmitted, {len(rtts)} received, {lost:.4g}% packet loss, "
        f"time {n_probes * 1001 - 1001}ms",
        f"rtt min/avg/max/mdev = {min(rtts):.3f}/{mean:.3f}/{max(rtts):.3f}/{spread:.3f} ms",
    ]
    return lines


def make_traces() -> dict[str, str]:
    """Every file of the camp's folder: its name and its text."""
    link = Link(random.Random(SEED))  # noqa: S311 -- invented data, no secret
    tests, starts = speed_tests(link)
    files = {
        "speed-tests.csv": ["time,direction,duration_s,rate_bps", *tests],
        "long-uploads.csv": ["time,direction,duration_s,rate_bps", *long_uploads(link)],
        "latency.csv": ["time,rtt_ms,n_probes,n_lost,loaded", *latency_rows(link, starts)],
        "photo-uploads.csv": ["time,direction,size_bytes,duration_s", *photo_uploads(link)],
        "ping-idle.txt": ping_text(link, local(6, 11.0), 600),
    }
    return {name: "\n".join(lines) + "\n" for name, lines in files.items()}


@dataclass(frozen=True)
class Place:
    """A smaller place: when it was measured, and what its link is like."""

    folder: str
    seed: int
    first_day: datetime
    n_days: int
    offset_h: int  # of its clock from UTC
    test_times_h: tuple[float, ...]  # local
    awake_h: tuple[float, float]  # when round trips are probed, local
    busy_h: float  # the slowest moment of the day, local
    up: Direction
    down: Direction
    idle_rtt_s: float
    outage_prob: float  # that one begins, each second


PLACES = (
    Place("vet-van", 20260302, datetime(2026, 3, 2, tzinfo=UTC), 12, 0,
          (8.2, 11.0, 14.1, 16.4, 18.3), (7.5, 19.0), 17.5,
          Direction("up", 9.0e6, 0.75, 0.45, 0.35, 0.85, 300e3),
          Direction("down", 34e6, 0.70, 0.45, 0.30, 0.80, 900e3), 0.052, 0.0040),
    Place("village-festival", 20260710, datetime(2026, 7, 10, tzinfo=UTC), 3, 2,
          (9.3, 11.2, 13.4, 15.1, 17.2, 19.4, 21.1, 22.6), (9.0, 23.5), 20.5,
          Direction("up", 14e6, 0.30, 0.25, 0.30, 0.80, 500e3),
          Direction("down", 60e6, 0.25, 0.25, 0.28, 0.78, 1500e3), 0.044, 0.0010),
    Place("hill-station", 20261102, datetime(2026, 11, 2, tzinfo=UTC), 14, 1,
          (3.1, 8.4, 12.2, 16.5, 21.3), (0.0, 24.0), 20.0,
          Direction("up", 1.9e6, 0.80, 0.30, 0.30, 0.85, 120e3),
          Direction("down", 7.5e6, 0.75, 0.30, 0.28, 0.80, 300e3), 0.066, 0.0030),
)  # fmt: skip
PLACE_TESTS_S = (("down", 6), ("up", 10))
PROBES_EVERY_MIN = 15


def place_files(place: Place) -> dict[str, str]:
    """Every file of one smaller place: its name and its text."""
    rng = random.Random(place.seed)  # noqa: S311 -- invented data, no secret
    tests, probes = [], []
    for day in range(place.n_days):
        midnight = place.first_day + timedelta(days=day, hours=-place.offset_h)
        level = rng.gauss(0, 1)
        for hour in place.test_times_h:
            start = midnight + timedelta(hours=hour, seconds=rng.randrange(-600, 600))
            level = 0.6 * level + 0.8 * rng.gauss(0, 1)
            for name, n_s in PLACE_TESTS_S:
                direction = place.up if name == "up" else place.down
                tests += place_test(rng, place, direction, start, hour, level, n_s)
                start += timedelta(seconds=n_s + 2)
        first, last = place.awake_h
        for i in range(int((last - first) * 60 / PROBES_EVERY_MIN)):
            when = midnight + timedelta(hours=first, minutes=PROBES_EVERY_MIN * i)
            lost = rng.random() < 0.006
            rtt_ms = 1e3 * (0.7 + 0.3 * math.exp(rng.gauss(0, 0.6))) * place.idle_rtt_s
            probes.append(f"{stamp(when)},{'' if lost else f'{rtt_ms:.1f}'},1,{int(lost)},0")
    files = {
        "speed-tests.csv": ["time,direction,duration_s,rate_bps", *tests],
        "latency.csv": ["time,rtt_ms,n_probes,n_lost,loaded", *probes],
    }
    return {name: "\n".join(lines) + "\n" for name, lines in files.items()}


def place_test(
    rng: random.Random, place: Place, direction: Direction, start: datetime, hour: float,
    level: float, n_s: int,
) -> list[str]:  # fmt: skip
    """One saturating test of a smaller place: a line a second."""
    busy = math.exp(-(((hour - place.busy_h) / 2.0) ** 2))
    typical = direction.median_bps * (1 - (1 - direction.evening_frac) * busy)
    typical *= math.exp(direction.slow_spread * level)
    noise, outage_left_s, rows = rng.gauss(0, 1), 0.0, []
    for second in range(n_s):
        noise = direction.fast_memory * noise + rng.gauss(
            0, math.sqrt(1 - direction.fast_memory**2)
        )
        if outage_left_s <= 0 and rng.random() < place.outage_prob:
            outage_left_s = rng.expovariate(1 / 3.0)
        up_frac = 1 - min(max(outage_left_s, 0.0), 1.0)
        outage_left_s -= 1
        rate = typical * math.exp(direction.fast_spread * noise) * up_frac
        rate *= 0.5 if second == 0 else 1.0  # the sender starts slowly
        when = start + timedelta(seconds=second)
        rows.append(f"{stamp(when)},{direction.name},1,{round(rate, -3):.0f}")
    return rows


def main() -> None:
    """Write the files."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--output", type=Path, default=Path(__file__).parent)
    output = parser.parse_args().output
    folders = {"kestrel-ridge": make_traces(), **{p.folder: place_files(p) for p in PLACES}}
    for folder, files in folders.items():
        (output / folder).mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            (output / folder / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
