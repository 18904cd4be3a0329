"""When the company of a task is the same, nearly the same, or another one."""

from dataclasses import replace

import pytest

from linkfit.forecast.busy_hour import BusyHour
from linkfit.forecast.load import StreamClass
from linkfit.forecast.meets import Meets
from linkfit.forecast.sharing import FlowClass
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import PathLimits, Service, SizeLaw, Task

TASK = Task(name="t", flow="out", size=SizeLaw(median_bytes=1e5))
SERVICE = Service(name="s", kind="web-app", n_users=1, tasks=())
FLOW = FlowClass(name="others", arrivals_per_s=1.0, median_bits=1e5)


def meets(*flows, streams_bps=0.0, rate_bps=1e6):
    link = fit_link(Trace.from_quick_numbers(up_bps=1e6, down_bps=1e6, rtt_s=0.05), seed=1)
    paths = {"up": CapacityPaths.from_rates([rate_bps])}
    films = StreamClass(
        name="film", n_running=streams_bps / 1e5, rate_bps=1e5, duration_s=60.0, n_sources=9
    )
    hour = BusyHour(link=link, paths=paths, classes={"up": flows},
                    streams={"up": (films,) if streams_bps else ()})  # fmt: skip
    return Meets.of(SERVICE, TASK, PathLimits(), hour)


def test_the_same_company_is_no_way_apart():
    assert meets(FLOW).apart_frac(meets(FLOW)) == 0


def test_a_flow_that_starts_half_as_often_is_half_its_load_apart():
    half = replace(FLOW, arrivals_per_s=0.5)
    assert meets(FLOW).apart_frac(meets(half)) == pytest.approx(0.05)


def test_the_same_load_in_other_sizes_is_two_loads_apart():
    larger = replace(FLOW, arrivals_per_s=0.1, median_bits=1e6)
    assert meets(FLOW).apart_frac(meets(larger)) == pytest.approx(0.2)


def test_streams_count_as_load():
    assert meets(FLOW).apart_frac(meets(FLOW, streams_bps=3e5)) == pytest.approx(0.3)


def test_another_capacity_is_another_case():
    assert meets(FLOW).what != meets(FLOW, rate_bps=2e6).what
    assert meets(FLOW).what == meets().what
