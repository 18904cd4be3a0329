"""How an Evaluation shows itself in a notebook: every task, the data use and the backlogs."""

from typing import TYPE_CHECKING, Any

from linkfit.forecast.forecast_table import POINTS
from linkfit.html_table import html_table
from linkfit.units import format_amount, format_duration, format_share

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast


class ShownEvaluation:
    """Gives `_repr_html_` to an Evaluation; adds nothing else."""

    __slots__ = ()

    def _repr_html_(self: Any) -> str:
        rows = [_task_row(task) for service in self.services for task in service.tasks]
        use = self.data.use
        target = "" if self.data.cap_bytes is None else format_amount(self.data.cap_bytes, "bytes")
        over = self.data.prob_over_cap
        rows.append(["data of a billing cycle", target, *_points(use),
                     "" if over is None else format_share(1 - over)])  # fmt: skip
        for one in self.backlogs:
            prob = one.prob_by_deadline
            day = "" if one.backlog.deadline is None else one.backlog.deadline.isoformat()
            rows.append([f"backlog {one.backlog.name}", day, *_points(one.days),
                         "" if prob is None else format_share(prob)])  # fmt: skip
        caption = f"Evaluation of {self.site.name}"
        headings = ("what", "target", *POINTS, "95 % lies in", "within target")
        return html_table(caption, headings, rows, (*self.notes, *self.missing))


def _task_row(task: Any) -> list[str]:
    """A task with its points, or why there are none."""
    name = f"{task.service}: {task.task.name}"
    target = "" if task.task.target_s is None else format_duration(task.task.target_s)
    if task.refused or task.unmeasured:
        why = "refused by the path" if task.refused else f"{task.unmeasured} never measured"
        return [name, target, "", "", "", "", why]
    prob = task.prob_within_target
    return [name, target, *_points(task.time), "" if prob is None else format_share(prob)]


def _points(forecast: "Forecast") -> list[str]:
    """The three points, and the interval of the last."""
    points = [format_amount(float(forecast.quantile(q)), forecast.unit) for q in POINTS.values()]
    low, high = (format_amount(end, forecast.unit) for end in forecast.quantile_interval(0.95))
    return [*points, f"{low} to {high}"]
