"""What a person asks of ``linkfit plan-tests``, answered by `linkfit.probe.further_tests`."""

import re
from typing import TYPE_CHECKING

from linkfit.cli.link_input import TraceInput, holds_a_link, read_traces
from linkfit.errors import InputError

if TYPE_CHECKING:
    from linkfit.probe.further_tests import Asked

_PERCENT = re.compile(r"(\d+(?:\.\d+)?)\s*%")


def share_of(text: str, where: str) -> float:
    """A share such as "20%" or "20 %", > 0. [fraction]

    Raises
    ------
    InputError
        If it is none.
    """
    match = _PERCENT.fullmatch(text.strip())
    if match is None or float(match[1]) <= 0:
        raise InputError(f"{where}: expected a share above 0 such as '20%', got {text!r}")
    return float(match[1]) / 100


def asked_tests(
    files: TraceInput,
    *,
    width: str,
    of: str,
    way: str,
    seconds: int | None,
    budget: str | None,
    cap: str | None,
    down: str | None,
    up: str | None,
) -> "Asked":
    """The answer to what was asked, with the question.

    Raises
    ------
    InputError
        If an option cannot be, or a direction was neither measured nor guessed.
    """
    from linkfit._checks import one_of
    from linkfit.ingest.trace import Trace
    from linkfit.link.enough_tests import QUANTILES
    from linkfit.link.measured_cells import idle_rtt_s, measured_cells
    from linkfit.probe.further_tests import Asked, plan_further_tests
    from linkfit.probe.session_plan import WAYS
    from linkfit.units import parse_rate_bps, parse_size_bytes

    width_frac = share_of(width, "--width")
    one_of("--of", of, tuple(QUANTILES))
    ways = ("up", "down") if one_of("--way", way, WAYS) == "both" else (way,)
    guessed = {
        name: parse_rate_bps(text, where=f"--{name}")
        for name, text in (("up", up), ("down", down)) if text is not None
    }  # fmt: skip
    budget_bytes = None if budget is None else parse_size_bytes(budget, where="--budget")
    cap_bytes = None if cap is None else parse_size_bytes(cap, where="--cap")
    for path in files.paths:
        if holds_a_link(path):
            raise InputError(
                f"{path}: expected measurements, got a fitted link, which no longer knows its "
                "tests; name the files it was fitted to"
            )
    trace = read_traces(files) if files.paths else Trace()
    plan = plan_further_tests(
        tuple(measured_cells(trace, name, timezone=files.timezone) for name in ways),
        width_frac, of=of, seconds=seconds, rtt_s=idle_rtt_s(trace),
        guessed_bps=guessed, budget_bytes=budget_bytes,
    )  # fmt: skip
    return Asked(
        plan=plan, width_frac=width_frac, of=of, timezone=files.timezone,
        budget_bytes=budget_bytes, cap_bytes=cap_bytes,
    )  # fmt: skip
