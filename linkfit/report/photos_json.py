"""Sizes and encoders of stored pictures as the record ``linkfit/photos/1``."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from linkfit.report.record_numbers import number, prob, quantiles
from linkfit.site.photo_sizes import measured_range_problem

if TYPE_CHECKING:
    from linkfit.forecast.photo_choices import PhotoChoice, PhotoTable
    from linkfit.site.model import Site

SCHEMA = "linkfit/photos/1"


def photos_record(
    site: "Site", tables: "Sequence[PhotoTable]", *, seed: int, asked_px: "Sequence[int]" = ()
) -> dict[str, Any]:
    """Plain dicts, lists, texts, numbers and None; one table a task, the present choice first.

    `asked_px` are long edges that the caller asked for, which a screen always shows. [pixels]
    """
    return {
        "schema": SCHEMA,
        "seed": seed,
        "site": site.name,
        "what_if": list(site.what_if),
        "asked_px": list(asked_px),
        "tasks": [
            {
                "service": table.service.name,
                "task": table.task.name,
                "n_users": table.service.n_users,
                "target_s": number(table.task.target_s),
                "n_requests": table.task.n_requests,
                "choices": [_choice(choice, table.choices[0]) for choice in table.choices],
            }
            for table in tables
        ],
    }


def _choice(choice: "PhotoChoice", present: "PhotoChoice") -> dict[str, Any]:
    low_s, high_s = choice.time.quantile_interval(0.95)
    saved = float(present.cycle.quantile(0.5)) - float(choice.cycle.quantile(0.5))
    return {
        "edge_px": choice.image.edge_px,
        "format": choice.image.format,
        "quality": choice.image.quality,
        "present": choice.present,
        "median_bytes": number(choice.size.median_bytes),
        "spread": number(choice.size.spread),
        "p50_s": number(float(choice.time.quantile(0.5))),
        "p95_s": number(float(choice.time.quantile(0.95))),
        "p95_low_s": number(low_s),
        "p95_high_s": number(high_s),
        "prob_within_target": prob(choice.prob_within_target),
        "max_users": choice.n_max_users,
        "max_users_low": choice.n_max_users_low,
        "max_users_high": choice.n_max_users_high,
        **quantiles(choice.month, "_bytes_per_cycle"),
        "cycle_saved_bytes": number(saved),
        "extrapolated": measured_range_problem(choice.image),
    }
