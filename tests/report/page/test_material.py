"""What a report is made of agrees with what the commands tell of the same site and seed."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.evaluation import Evaluator
from linkfit.forecast.transfer import predict_transfer
from linkfit.report.page.material import PAYLOADS_BYTES, measured

pytestmark = pytest.mark.slow  # a search evaluates the site dozens of times


def test_the_record_is_that_of_advise(material, report_link):
    from linkfit.advice.advise import advise
    from linkfit.report.advice_json import advice_record

    alone = advise(material.site, report_link, seed=material.seed, start=material.start)
    assert advice_record(alone, report_link) == material.record


def test_the_users_line_passes_through_the_time_of_the_verdict(material):
    line = material.users[0]
    of_service = next(one for one in material.advice.before.services
                      if one.service.name == line.service.name)  # fmt: skip
    judged = next(one for one in of_service.tasks if one.task.name == line.task.name)
    at_now = dict(line.points)[line.service.n_users]
    assert float(at_now.quantile(0.95)) == float(judged.time.quantile(0.95))


def test_users_never_make_a_task_faster(material):
    for line in material.users:
        late = [float(time.quantile(0.95)) for _, time in line.points]
        assert (np.diff(late) >= 0).all()


def test_payloads_are_those_of_linkfit_transfer(material, report_link):
    size, found = material.payloads["up"][3]
    again = predict_transfer(report_link, size_bytes=size, direction="up", n_draws=300, seed=3,
                             handshake_round_trips=2, usual_rtt=True)  # fmt: skip
    assert size == PAYLOADS_BYTES[3]
    assert_allclose(found.draws, again.draws)


def test_the_burn_down_ends_where_the_backlog_does(material):
    story = material.backlogs[0]
    assert_allclose(story.burn.days[-1].draws, story.forecast.days.draws)


def test_utilisation_is_load_over_what_the_hour_carries(material, report_link):
    hour = Evaluator(report_link, seed=3, start=material.start).busy_hour(material.site)
    for use in material.uses:
        assert use.busy.value == pytest.approx(hour.busy_frac(use.direction), rel=1e-6)
        assert use.busy.low <= use.busy.value <= use.busy.high


def test_only_measured_directions_are_told(report_link):
    from dataclasses import replace

    assert measured(replace(report_link, down=None)) == ("up",)
