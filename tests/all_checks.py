"""Every check of the project, in the order in which a failure is cheapest to learn.

``python tests/all_checks.py``: lint, format, types, tests (on two cores), each benchmark once.
Ends with the exit code of the first check that fails; says how long each took.
"""

import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
CHECKS = (
    ("lint", ["ruff", "check", "."]),
    ("format", ["ruff", "format", "--check", "."]),
    ("types", ["mypy"]),
    ("tests", ["pytest", "-n", "2", "--dist", "worksteal", "-q"]),
)


def main() -> int:
    for name, command in CHECKS:
        print(f"== {name}: {' '.join(command)}", flush=True)
        began = time.monotonic()
        code = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, check=False).returncode
        print(f"== {name}: {'ok' if code == 0 else 'FAILED'}, {time.monotonic() - began:.0f} s")
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
