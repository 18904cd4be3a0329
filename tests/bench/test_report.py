"""What `linkfit report` costs in a process of its own: memory, and time against two floors.

The floors are the advice alone and as many plain figures, in the same run on the same machine.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
MOST_MB = 500.0
MOST_ADVICES = 3.0  # the advice, and everything else that is told
MOST_PLAIN_FIGURES = 1.6  # the page with its figures, in figures of one line and a legend
WORK = """
import io, json, time
from datetime import date
from matplotlib.figure import Figure
from linkfit.cli.report_input import ask_of
from linkfit.cli.link_input import QuickNumbers, TraceInput
from linkfit.cli.report_files import rendered
from linkfit.advice.advise import advise
from linkfit.report.page.content import report_of
from linkfit.report.page.material import gather

given = TraceInput(paths=("traces/kestrel-ridge",), timezone="Europe/Lisbon")
asked = ask_of("examples/kestrel-ridge.toml", given, QuickNumbers(), settings=None,
               start="2026-06-29", seed=0)
began = time.process_time()
found = gather(asked.site, asked.link, seed=0, start=asked.inputs.start)
gather_s = time.process_time() - began
began = time.process_time()
report = report_of(found, asked.inputs)
page = rendered(report, asked.inputs, ".html")
page_s = time.process_time() - began
began = time.process_time()
advise(asked.site, asked.link, seed=0, start=asked.inputs.start)
advice_s = time.process_time() - began
began = time.process_time()
for _ in report.pictures():
    figure = Figure(figsize=(4.4, 3.5), layout="constrained")
    axes = figure.add_subplot()
    axes.plot([0, 1], label="a line")
    axes.set(title="a title", xlabel="a name [unit]", ylabel="a name [unit]")
    axes.legend()
    figure.savefig(io.BytesIO(), format="svg")
plain_s = time.process_time() - began
# of this program alone: ru_maxrss would hold what the parent had when it started this one
peak = next(int(line.split()[1]) for line in open("/proc/self/status") if "VmHWM" in line)
print(json.dumps({"advices": gather_s / advice_s, "plain_figures": page_s / plain_s,
                  "page_s": page_s, "MB": peak / 1e3, "bytes": len(page)}))
"""


def test_the_report_costs_little_more_than_the_advice_in_it():
    done = subprocess.run(
        [sys.executable, "-c", WORK], capture_output=True, text=True, check=True, cwd=ROOT
    )
    told = json.loads(done.stdout)
    print(told)
    assert told["advices"] < MOST_ADVICES
    assert told["plain_figures"] < MOST_PLAIN_FIGURES
    assert told["MB"] < MOST_MB
    assert told["bytes"] < 2_000_000
