"""What `linkfit report` costs in a process of its own: memory, and time against the advice in it.

The floor is the advice alone, in the same run on the same machine.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
MOST_MB = 500.0
MOST_ADVICES = 3.0  # reading, fitting, advice, everything else that is told, and the page
WORK = """
import json, time
from datetime import date
from linkfit.cli.report_input import ask_of
from linkfit.cli.link_input import QuickNumbers, TraceInput
from linkfit.cli.report_files import rendered
from linkfit.advice.advise import advise
from linkfit.report.page.content import report_of
from linkfit.report.page.material import gather

began = time.process_time()
given = TraceInput(paths=("traces/kestrel-ridge",), timezone="Europe/Lisbon")
asked = ask_of("examples/kestrel-ridge.toml", given, QuickNumbers(), settings=None,
               start="2026-06-29", seed=0)
found = gather(asked.site, asked.link, seed=0, start=asked.inputs.start)
page = rendered(report_of(found, asked.inputs), asked.inputs, ".html")
report_s = time.process_time() - began
began = time.process_time()
advise(asked.site, asked.link, seed=0, start=asked.inputs.start)
advice_s = time.process_time() - began
# of this program alone: ru_maxrss would hold what the parent had when it started this one
peak = next(int(line.split()[1]) for line in open("/proc/self/status") if "VmHWM" in line)
print(json.dumps({"ratio": report_s / advice_s, "report_s": report_s, "MB": peak / 1e3,
                  "bytes": len(page)}))
"""


def test_the_report_costs_little_more_than_the_advice_in_it():
    done = subprocess.run(
        [sys.executable, "-c", WORK], capture_output=True, text=True, check=True, cwd=ROOT
    )
    told = json.loads(done.stdout)
    print(told)
    assert told["ratio"] < MOST_ADVICES
    assert told["MB"] < MOST_MB
    assert told["bytes"] < 2_000_000
