"""A session of tests for a person: what was measured, its cost, and what to do with it."""

from typing import TYPE_CHECKING, Any

from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.plain import harmless
from linkfit.units import format_duration, format_rate, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

_ENDS = {
    "done": "All tests ran.",
    "budget": "The budget was spent before all tests had run.",
    "interrupted": "Interrupted; what was measured until then is kept.",
    "failed": "The session ended at a test that gave no figure; what was measured is kept.",
    "unreachable": "The server cannot be reached; what was measured until then is kept.",
}
_TEST_ENDS = {
    "done": "done",
    "budget": "ended at the budget",
    "deadline": "no word from the server in time",
    "interrupted": "interrupted",
}
_PERCENTILES = tuple(Column(heading=name, right=True) for name in ("5 %", "median", "95 %"))


def measure_text(record: dict[str, Any]) -> "list[RenderableType]":
    """Lines and tables for the terminal, from `measure_record`."""
    return apart([_head(record), _tests(record), _trips(record), _way(record), _next(record)])


def _head(record: dict[str, Any]) -> "list[RenderableType]":
    spent = f"{format_size(record['spent_bytes'])} of {format_size(record['budget_bytes'])}"
    lines: list[RenderableType] = [
        heading(f"Measured against {harmless(record['server'])} port {record['port']}"),
        sentence(
            f"{_ENDS[record['ended']]} {spent} crossed {harmless(record['interface'])}, both "
            "directions, everything on it counted."
        ),
    ]
    if record["tests_not_run"]:
        lines.append(sentence(f"Tests not run: {record['tests_not_run']}."))
    if record["fault"]:
        lines.append(sentence(f"In the way: {harmless(record['fault'], limit=400)}."))
    return lines


def _tests(record: dict[str, Any]) -> "list[RenderableType]":
    columns = (Column(heading="test"), *_PERCENTILES, Column(heading="cost", right=True),
               Column(heading="result", prose=True))  # fmt: skip
    listing = Listing(columns=columns)
    for test in record["tests"]:
        streams = "1 stream" if test["n_streams"] == 1 else f"{test['n_streams']} streams"
        rates = [test[key] for key in ("p05_bps", "p50_bps", "p95_bps")]
        result = test["error"] or _TEST_ENDS[test["ended"]]
        if test["datagrams"] is not None:
            jitter, loss = test["datagrams"]["jitter_s"], test["datagrams"]["loss_frac"]
            result += f", {format_share(loss)} lost, jitter {format_duration(jitter)}"
        shown = ["-" if rate is None else format_rate(rate) for rate in rates]
        listing.add(
            f"{test['transport'].upper()} {test['direction']}, {streams}", *shown,
            format_size(test["spent_bytes"]), harmless(result),
        )  # fmt: skip
    return [heading("Rates over the seconds of each test, payload"), listing]


def _trips(record: dict[str, Any]) -> "list[RenderableType]":
    listing = Listing(
        columns=(Column(heading="link"), *_PERCENTILES, Column(heading="lost", right=True))
    )
    for name in ("idle", "busy"):
        trips = record["round_trips"][name]
        if trips["n_probes"]:
            times = [trips[key] for key in ("p05_s", "p50_s", "p95_s")]
            shown = ["-" if time is None else format_duration(time) for time in times]
            listing.add(name, *shown, f"{trips['n_lost']} of {trips['n_probes']}")
    lines: list[RenderableType] = [
        heading(f"Round trips to the server and back, by {record['round_trips']['by']}"),
        listing,
    ]
    if not record["round_trips"]["busy"]["n_probes"]:
        lines.append(
            sentence(
                "Busy round trips are TCP's own, in the reports: name another port with "
                "--probe-port to probe beside the tests."
            )
        )
    return lines


def _way(record: dict[str, Any]) -> "list[RenderableType]":
    texts = [record["translation"]["text"], *_mtu(record["path_mtu"])]
    if record["nat_timer"] is not None:
        texts.append(record["nat_timer"]["text"])
    return [heading("On the way"), *bullets([harmless(text) for text in texts])]


def _mtu(mtu: dict[str, Any]) -> list[str]:
    if mtu["bytes"] is None:
        return []
    if mtu["by"] == "tcp":
        return [f"largest packet towards the server as the kernel believes: {mtu['bytes']} B"]
    found = f"largest packet that the server answers whole: {mtu['bytes']} B"
    if mtu["silent"]:
        found += "; larger ones vanish without a word, so tell the tunnel this size"
    return [found]


def _next(record: dict[str, Any]) -> "list[RenderableType]":
    folder = harmless(record["folder"])
    if not any(test["n_samples"] for test in record["tests"]):
        return [sentence(f"No test gave a figure; round trips are kept in {folder}.")]
    return [
        sentence(f"Kept in {folder}. Next: linkfit inspect {folder}, linkfit fit {folder}."),
        sentence("A measurement is no promise: the link will differ at other hours and days."),
    ]
