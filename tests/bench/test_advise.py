"""What `linkfit advise` on the camp costs: wall time and memory of a process of its own."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CODE = """
import contextlib, io, json, resource, sys, time
from linkfit.cli.app import main
began = time.perf_counter()
with contextlib.redirect_stdout(io.StringIO()) as out, contextlib.suppress(SystemExit):
    main(["advise", "examples/kestrel-ridge.toml", "traces/kestrel-ridge", "--json",
          "--start", "2026-06-29"])
took_s = time.perf_counter() - began
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(json.dumps({"s": took_s, "MB": peak / 1e3, "letters": len(out.getvalue())}))
"""
MOST_S, MOST_MB = 4.0, 400.0


@pytest.mark.slow
def test_advice_on_the_camp_keeps_its_budget(request):
    done = subprocess.run(
        [sys.executable, "-c", CODE], cwd=ROOT, capture_output=True, text=True, check=True
    )
    cost = json.loads(done.stdout)
    print(f"advise: {cost['s']:.1f} s (at most {MOST_S:g}), {cost['MB']:.0f} MB "
          f"(at most {MOST_MB:g})")  # fmt: skip
    assert cost["letters"] > 1000
    assert cost["MB"] <= MOST_MB
    if request.config.getoption("--benchmark-enable"):  # a shared machine's clock proves nothing
        assert cost["s"] <= MOST_S
