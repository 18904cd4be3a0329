"""The grid behind the sliders: times and data by payload, users and stored photo edge."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from linkfit.forecast.data_use import forecast_data
from linkfit.forecast.evaluation import stream_seed
from linkfit.forecast.load import directions
from linkfit.forecast.user_limits import UserCurve, bears_load
from linkfit.report.page.rounding import late_end, spread, stated
from linkfit.site.model import Service, Site, SizeLaw, Task
from linkfit.site.photo_sizes import resized
from linkfit.units import format_share

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.evaluation import Evaluator

SIZES_BYTES = (1e5, 5e5, 2e6, 1e7, 5e7, 2e8)
USERS = (1, 3, 10, 30)
EDGES_PX = (512, 720, 1080, 1440, 1920, 2560)
_N_PROBES = 200
_N_CYCLES = 400
_PAYLOAD = "one payload"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One answer: the median with its 5 and 95 % points, and the 95 % end with its interval."""

    median: str
    late: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Answers for each setting of the sliders.

    Parameters
    ----------
    service : str
        Whose users are counted; all other services stay as they are.
    sizes, users, edges : tuple of str
        Settings as they are read; `edges` is empty where no service stores photos.
    at : tuple of int
        Where the sliders stand at first: the setting nearest to the site as it is, the payload
        being that of the task that moves most.
    out, in_ : tuple of tuple of Cell
        Time of one payload, by size and then users; empty where the direction was not measured or
        no service uses it.
    view : tuple of tuple of Cell
        Time to view one photo, by edge and then users.
    cycle, over : tuple of tuple of str
        Data of a cycle of the whole site and the chance to go over the cap, by edge (a single
        row without edges) and then users; `over` is empty without a cap.
    """

    service: str
    sizes: tuple[str, ...]
    users: tuple[str, ...]
    edges: tuple[str, ...]
    at: tuple[int, int, int]
    out: tuple[tuple[Cell, ...], ...]
    in_: tuple[tuple[Cell, ...], ...]
    view: tuple[tuple[Cell, ...], ...]
    cycle: tuple[tuple[str, ...], ...]
    over: tuple[tuple[str, ...], ...]

    def plain(self) -> dict[str, Any]:
        """The grid as the page's script reads it."""
        return {
            "sizes": list(self.sizes),
            "users": list(self.users),
            "edges": list(self.edges),
            "out": _cells(self.out),
            "in": _cells(self.in_),
            "view": _cells(self.view),
            "cycle": [list(row) for row in self.cycle],
            "over": [list(row) for row in self.over],
        }


def _cells(rows: tuple[tuple[Cell, ...], ...]) -> list[list[list[str]]]:
    return [[[cell.median, cell.late] for cell in row] for row in rows]


def payload_grid(site: Site, evaluator: "Evaluator") -> Grid | None:
    """The grid of `site`; None where no service of it meets others on the link."""
    chosen = _chosen(site, evaluator)
    if chosen is None:
        return None
    service, photo = chosen
    users = tuple(sorted({*USERS, max(service.n_users, 1)}))
    sizes = SIZES_BYTES
    edges: tuple[int, ...] = ()
    if photo is not None and photo.image is not None:
        edges = tuple(sorted({*EDGES_PX, photo.image.edge_px}))
    most = max(service.tasks, key=lambda task: task.mean_bytes * task.per_user_day)
    cycles = [[_cycle(site, service, photo, edge, n, evaluator.seed) for n in users]
              for edge in edges or (0,)]  # fmt: skip
    return Grid(
        service=service.name,
        sizes=tuple(stated(size, "bytes") for size in sizes),
        users=tuple(str(n) for n in users),
        edges=tuple(f"{edge} px" for edge in edges),
        at=(
            min(range(len(sizes)), key=lambda i: abs(sizes[i] - most.size.median_bytes)),
            users.index(max(service.n_users, 1)),
            edges.index(photo.image.edge_px) if photo and photo.image else 0,
        ),
        out=_times(site, service, evaluator, "out", sizes, users),
        in_=_times(site, service, evaluator, "in", sizes, users),
        view=_views(site, service, photo, evaluator, edges, users),
        cycle=tuple(tuple(text for text, _ in row) for row in cycles),
        over=tuple(tuple(over for _, over in row) for row in cycles)
        if site.plan.cap_bytes is not None
        else (),
    )


def _chosen(site: Site, evaluator: "Evaluator") -> tuple[Service, Task | None] | None:
    """The service that stores photos with the task that shows them, else the first with users."""
    with_load = [
        service
        for service in site.services
        if any(bears_load(task, service, site.path) for task in service.tasks)
    ]
    for service in with_load:
        for task in service.tasks:
            shown = task.image is not None and task.image.role == "photo" and task.flow == "out"
            if shown and _is_measured(task, evaluator):
                return service, task
    return (with_load[0], None) if with_load else None


def _is_measured(task: Task, evaluator: "Evaluator") -> bool:
    return all(getattr(evaluator.link, way) is not None for way in directions(task))


def _times(
    site: Site,
    service: Service,
    evaluator: "Evaluator",
    flow: str,
    sizes_bytes: tuple[float, ...],
    users: tuple[int, ...],
) -> tuple[tuple[Cell, ...], ...]:
    """One payload of each size sent once in the busy hour, with so many users of `service`."""
    task = Task(name=_PAYLOAD, flow=flow, size=SizeLaw(median_bytes=sizes_bytes[0]))
    # a direction that no service uses has no futures of the busy hour
    if not set(directions(task)) <= set(evaluator.busy_hour(site).paths):
        return ()
    return tuple(
        _row(site, service, replace(task, size=SizeLaw(median_bytes=size)), evaluator, users)
        for size in sizes_bytes
    )


def _row(
    site: Site, service: Service, task: Task, evaluator: "Evaluator", users: tuple[int, ...]
) -> tuple[Cell, ...]:
    curve = UserCurve(
        task, service, site.path, evaluator.busy_hour(site),
        draw=lambda: stream_seed(evaluator.seed, "task", service.name, task.name),
        n_probes=_N_PROBES,
    )  # fmt: skip
    return tuple(_cell(curve.time(n)) for n in users)


def _cell(time: "Forecast") -> Cell:
    return Cell(median=spread(time), late=late_end(time))


def _views(
    site: Site,
    service: Service,
    photo: Task | None,
    evaluator: "Evaluator",
    edges_px: tuple[int, ...],
    users: tuple[int, ...],
) -> tuple[tuple[Cell, ...], ...]:
    """One photo shown, by stored edge and users; the other tasks keep their sizes."""
    if photo is None:
        return ()
    return tuple(_row(site, service, _stored(photo, edge), evaluator, users) for edge in edges_px)


def _stored(photo: Task, edge_px: int) -> Task:
    """The task once photos are stored with another long edge."""
    assert photo.image is not None
    image = replace(photo.image, edge_px=edge_px)
    return replace(photo, image=image, size=resized(photo.size, photo.image, image))


def _cycle(
    site: Site, service: Service, photo: Task | None, edge_px: int, n_users: int, seed: int
) -> tuple[str, str]:
    """Data of a cycle with such photos and so many users, and the chance to go over the cap."""
    tasks = service.tasks
    if photo is not None:
        tasks = tuple(_stored(one, edge_px) if one is photo else one for one in tasks)
    changed = replace(service, tasks=tasks, n_users=n_users)
    edited = replace(
        site, services=tuple(changed if one is service else one for one in site.services)
    )
    data = forecast_data(edited, seed=seed, n_draws=_N_CYCLES)
    over = "" if data.prob_over_cap is None else format_share(data.prob_over_cap)
    return spread(data.use), over
