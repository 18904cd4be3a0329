"""What `linkfit advise` costs in a process of its own: CPU time and memory, two sites."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MEASURED = """
import json, time
{work}
took_s = time.process_time()  # of the whole process, its start and imports too
# not ru_maxrss: a child's begins with what its parent had in memory when it forked
peak = next(int(line.split()[1]) for line in open("/proc/self/status") if "VmHWM" in line)
print(json.dumps({{"s": took_s, "MB": peak / 1e3, **told}}))
"""
CAMP = """
import contextlib, io
from linkfit.cli.app import main
with contextlib.redirect_stdout(io.StringIO()) as out, contextlib.suppress(SystemExit):
    main(["advise", "examples/kestrel-ridge.toml", "traces/kestrel-ridge", "--json",
          "--start", "2026-06-29"])
told = {"letters": len(out.getvalue())}
"""
# the camp's services five times over, each with fewer users, and a plan five times as large
LARGE = """
import warnings
from dataclasses import replace
from datetime import date
from linkfit.advice.advise import advise
from linkfit.advice.changes import candidate_changes
from linkfit.advice.link_rates import link_rates
from linkfit.ingest.reader import read_trace
from linkfit.link.fit import fit_link
from linkfit.site.file import read_site
warnings.simplefilter("ignore")
camp = read_site("examples/kestrel-ridge.toml")
services = tuple(replace(s, name=f"{s.name} {n}", n_users=max(1, s.n_users // 5))
                 for n in range(5) for s in camp.services)
site = replace(camp, services=services, plan=replace(camp.plan, cap_bytes=5 * camp.plan.cap_bytes))
link = fit_link(read_trace("traces/kestrel-ridge"), timezone=site.timezone)
advice = advise(site, link, start=date(2026, 6, 29))
told = {"services": len(services), "verdicts": len(advice.verdicts),
        "changes": len(candidate_changes(site, link_rates(link)))}
"""
CAMP_S, CAMP_MB = 4.0, 400.0
LARGE_S, LARGE_MB = 20.0, 600.0


def cost_of(work):
    """CPU time [s] and peak memory [MB] of `work` in a process of its own, and what it told."""
    done = subprocess.run([sys.executable, "-c", MEASURED.format(work=work)], cwd=ROOT,
                          capture_output=True, text=True, check=True)  # fmt: skip
    return json.loads(done.stdout)


def judge(request, name, cost, most_s, most_mb):
    print(f"{name}: {cost['s']:.1f} s of CPU (at most {most_s:g}), {cost['MB']:.0f} MB "
          f"(at most {most_mb:g})")  # fmt: skip
    assert cost["MB"] <= most_mb
    if request.config.getoption("--benchmark-enable"):  # what else runs slows a CPU too
        assert cost["s"] <= most_s


@pytest.mark.slow
def test_advice_on_the_camp_keeps_its_budget(request):
    cost = cost_of(CAMP)
    assert cost["letters"] > 1000
    judge(request, "advise, the camp", cost, CAMP_S, CAMP_MB)


@pytest.mark.slow
def test_advice_on_forty_services_and_sixty_changes_keeps_its_budget(request):
    cost = cost_of(LARGE)
    assert cost["services"] == cost["verdicts"] == 40
    assert cost["changes"] >= 60
    judge(request, "advise, 40 services", cost, LARGE_S, LARGE_MB)
