"""The accuracy of the forecasts on real measurements, in one table; writes nothing.

``python tests/accuracy/score.py [--json] [--only TABLE]``. Reads the traces that lie beside a
checkout (`shared/traces`, `shared/groundtruth`), which are no part of the project. Each figure has
its 90 % interval from blocks of neighbouring transfers, and pooled ones from links drawn anew.
"""

import argparse
import json
import sys

import capacity_score
import chunk_score
import kernel_score
import round_trip_score
import sparse_score
import upload_score
import variance_score
from measured_links import BESIDE, drives, measured_links
from score_rows import table_text

TABLES = {
    "capacity": lambda: capacity_score.rows(measured_links(BESIDE)),
    "uploads": lambda: upload_score.rows(drives(BESIDE)),
    "downloads": lambda: chunk_score.rows(BESIDE),
    "averages": lambda: variance_score.rows(measured_links(BESIDE)),
    "tests": lambda: sparse_score.rows(measured_links(BESIDE)),
    "round-trip": lambda: round_trip_score.rows(measured_links(BESIDE)),
    "kernel": lambda: kernel_score.rows(BESIDE.parent / "groundtruth"),
}


def main() -> int:
    """Print the tables that are asked for; 2 without the traces."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="one JSON record instead of a table")
    parser.add_argument("--only", choices=TABLES, action="append", help="again for several")
    asked = parser.parse_args()
    if not BESIDE.is_dir():
        print(f"expected measured traces at {BESIDE}, got none", file=sys.stderr)
        return 2
    rows = []
    for name in asked.only or TABLES:
        found = TABLES[name]()
        rows += found
        if not asked.json:
            print(table_text(found), end="\n\n", flush=True)
    if asked.json:
        print(
            json.dumps({"schema": "accuracy/1", "rows": [row.record() for row in rows]}, indent=1)
        )
        return 0
    missed = [row for row in rows if row.reached is False]
    print(f"{sum(row.reached is True for row in rows)} bars reached, {len(missed)} missed")
    for row in missed:
        print(f"missed: {row.name}, {row.measure}: {row.value:.3f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
