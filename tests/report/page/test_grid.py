"""Each cell of the sliders' grid against a forecast of the edited site on its own."""

from dataclasses import replace

import pytest

from linkfit.forecast.data_use import forecast_data
from linkfit.forecast.evaluation import Evaluator, stream_seed
from linkfit.forecast.task_times import task_draws
from linkfit.report.page.grid import _N_CYCLES, _N_PROBES, SIZES_BYTES, payload_grid
from linkfit.report.page.rounding import late_end, spread
from linkfit.site.model import Site, SizeLaw, Task
from linkfit.site.photo_sizes import resized
from linkfit.units import format_share

pytestmark = pytest.mark.slow


def edited(site, *, n_users, edge_px):
    service = site.services[0]
    tasks = []
    for task in service.tasks:
        if task.image is not None and task.flow == "out":
            image = replace(task.image, edge_px=edge_px)
            task = replace(task, image=image, size=resized(task.size, task.image, image))
        tasks.append(task)
    changed = replace(service, n_users=n_users, tasks=tuple(tasks))
    return replace(site, services=(changed, *site.services[1:]))


def test_a_photo_takes_what_the_edited_site_says(material, report_link):
    grid, site = material.grid, material.site
    row, column = grid.edges.index("720 px"), grid.users.index("10")
    alone = edited(site, n_users=10, edge_px=720)
    # the company still looks at photos of the size they had: one task alone is asked about
    company = edited(site, n_users=10, edge_px=site.services[0].tasks[0].image.edge_px)
    evaluator = Evaluator(report_link, seed=3, n_probes=400, start=material.start)
    hour = evaluator.busy_hour(company)
    time = evaluator.curve(alone.services[0].tasks[0], alone.services[0], site.path, hour).time(10)
    shown = grid.view[row][column]
    assert float(time.quantile(0.5)) == pytest.approx(_first_s(shown.median), rel=0.25)


def _first_s(text):
    number, unit = text.split(" (")[0].split(" ")
    return float(number) * {"ms": 1e-3, "s": 1.0, "min": 60.0}[unit]


def test_data_of_a_cycle_is_that_of_the_edited_site(material):
    grid = material.grid
    for row, edge in enumerate(grid.edges):
        for column, n in enumerate(grid.users):
            site = edited(material.site, n_users=int(n), edge_px=int(edge.split()[0]))
            data = forecast_data(site, seed=3, n_draws=_N_CYCLES)
            assert grid.cycle[row][column] == spread(data.use)
            assert grid.over[row][column] == format_share(data.prob_over_cap)


def test_one_payload_at_the_users_there_are_is_a_task_of_its_own(material, report_link):
    grid, site = material.grid, material.site
    service = site.services[0]
    evaluator = Evaluator(report_link, seed=3, start=material.start)
    task = Task(name="one payload", flow="out", size=SizeLaw(median_bytes=SIZES_BYTES[2]))
    time = task_draws(
        task, service, site.path, evaluator.busy_hour(site),
        rng=stream_seed(3, "task", service.name, task.name), n_probes=_N_PROBES,
    ).forecast()  # fmt: skip
    cell = grid.out[2][grid.users.index("6")]
    assert (cell.median, cell.late) == (spread(time), late_end(time))


def test_more_users_never_help(material):
    for rows in (material.grid.out, material.grid.in_, material.grid.view):
        for row in rows:
            late = [_first_s(cell.late) for cell in row]
            assert late == sorted(late)


def test_the_sliders_begin_at_the_site_as_it_is(material):
    grid = material.grid
    assert grid.users[grid.at[1]] == "6"
    assert grid.edges[grid.at[2]] == "1440 px"


def test_a_site_without_services_has_no_grid(report_link):
    assert payload_grid(Site(name="empty"), Evaluator(report_link)) is None
