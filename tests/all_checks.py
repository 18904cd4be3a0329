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


def main() -> int:
    for name, command in CHECKS:
        print(f"== {name}: {' '.join(command)}", flush=True)
        began = time.monotonic()
        code = subprocess.run(
            [sys.executable, "-m", *command], cwd=ROOT, check=False,
            env={**os.environ, "OMP_NUM_THREADS": "1"},  # the workers are enough for the cores
        ).returncode  # fmt: skip
        print(f"== {name}: {'ok' if code == 0 else 'FAILED'}, {time.monotonic() - began:.0f} s")
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
