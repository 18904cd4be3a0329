"""Every check of the project, in the order in which a failure is cheapest to learn.

``python tests/all_checks.py``: lint, format, types, tests, each benchmark once.
Two workers compute, two others begin with what mostly waits (tests/conftest.py).
Ends with the exit code of the first check that fails; says how long each took.
"""

import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
CHECKS = (
    ("lint", ["ruff", "check", "."]),
    ("format", ["ruff", "format", "--check", "."]),
    ("types", ["mypy"]),
    ("tests", ["pytest", "-n", "4", "--dist", "loadfile", "--no-loadscope-reorder", "-q"]),
)
# compiles every test while the types are checked on the other core, so that no worker has to
COMPILE = [sys.executable, "-m", "pytest", "--collect-only", "-q"]


def environment() -> dict[str, str]:
    """What is compiled is kept, and a worker computes on one core."""
    kept = {n: v for n, v in os.environ.items() if n != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "OMP_NUM_THREADS": "1"}


def main() -> int:
    env = environment()
    with subprocess.Popen(COMPILE, cwd=ROOT, env=env, stdout=subprocess.DEVNULL) as compiling:
        for name, command in CHECKS:
            if name == "tests":
                compiling.wait()
            print(f"== {name}: {' '.join(command)}", flush=True)
            began = time.monotonic()
            code = subprocess.run(
                [sys.executable, "-m", *command], cwd=ROOT, env=env, check=False
            ).returncode
            print(f"== {name}: {'ok' if code == 0 else 'FAILED'}, {time.monotonic() - began:.0f} s")
            if code:
                return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
