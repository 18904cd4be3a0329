"""The main job in Python: measurements and a site file in, verdicts and changes out."""

from datetime import date
from pathlib import Path

import linkfit as lf

ROOT = Path(__file__).parents[1]


def main() -> None:
    trace = lf.read_trace(ROOT / "traces" / "kestrel-ridge", timezone="Europe/Lisbon")
    link = lf.fit_link(trace, seed=0, timezone="Europe/Lisbon")
    site = lf.read_site(ROOT / "examples" / "kestrel-ridge.toml")
    advice = lf.advise(site, link, seed=0, start=date(2026, 6, 29))
    for service, verdict in advice.verdicts.items():
        print(f"{service}: {verdict}")
    for change in advice.chosen:
        print(f"change: {change.what}: {change.before_text} -> {change.after_text}")
    for caution in advice.cautions:
        print(f"mind: {caution}")


if __name__ == "__main__":
    main()
