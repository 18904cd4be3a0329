from dataclasses import replace

import pytest

from linkfit.advice.changes import candidate_changes
from linkfit.advice.measures import target_measures
from linkfit.advice.relevance import (
    N_WITHOUT_NEED,
    by_relevance,
    bytes_share,
    cause_bytes,
    plan_bytes_per_day,
    saved_share,
)
from linkfit.site.plan import Plan


def ranked(site, rates, evaluator):
    evaluation = evaluator.evaluate(site)
    changes = candidate_changes(site, rates)
    return by_relevance(changes, evaluation, target_measures(evaluation))


def test_settings_of_what_misses_its_target_come_first_and_levels_stay_together(
    camp, rates, fake_evaluator
):
    settings = ranked(camp, rates, fake_evaluator())
    order = [levels[0].setting for levels in settings]
    refused = order.index("finds catalogue: add a clip: chunk size")
    assert refused < order.index("finds catalogue: view a photo: picture edge")
    assert all(len({change.setting for change in levels}) == 1 for levels in settings)
    names = [levels[0].setting for levels in settings]
    assert len(names) == len(set(names))


def test_what_uses_no_data_and_misses_nothing_is_left_out(camp, rates, fake_evaluator):
    names = {levels[0].setting for levels in ranked(camp, rates, fake_evaluator())}
    assert "keepalive" not in names
    assert "background weather desk updates" in names  # of an overrun plan


def test_without_any_need_the_largest_users_of_data_are_still_shown(camp, rates, fake_evaluator):
    easy = replace(camp, plan=Plan(cap_bytes=1e15), path=replace(camp.path, entry="direct",
                   body_limit_bytes=None))  # fmt: skip
    evaluator = fake_evaluator(1e9)
    assert all(measure.met for measure in target_measures(evaluator.evaluate(easy)))
    settings = ranked(easy, rates, evaluator)
    assert 0 < len(settings) <= N_WITHOUT_NEED
    assert settings[0][0].setting == "local name"


def test_shares_of_the_ledger_are_of_the_service_or_the_cause(camp, rates, fake_evaluator):
    data = fake_evaluator().evaluate(camp).data
    by_setting = {change.setting: change for change in candidate_changes(camp, rates)}
    total = sum(float(e.use.quantile(0.5)) for e in data.ledger)
    weather = next(e for e in data.ledger if e.cause == "weather desk updates")
    share = bytes_share(by_setting["background weather desk updates"], cause_bytes(data))
    assert share == pytest.approx(float(weather.use.quantile(0.5)) / total)
    assert bytes_share(by_setting["local name"], cause_bytes(data)) == 1


def test_a_backlog_is_found_in_the_ledger_under_its_own_words(camp, rates, fake_evaluator):
    data = fake_evaluator().evaluate(camp).data
    by_setting = {change.setting: change for change in candidate_changes(camp, rates)}
    change = by_setting["backlog season photos: picture edge"]
    assert bytes_share(change, cause_bytes(data)) == 0
    entry = replace(data.ledger[0], cause="backlog: season photos", service="")
    assert bytes_share(change, cause_bytes(replace(data, ledger=(entry,)))) == 1


def test_saved_bytes_are_the_arithmetic_of_the_site(camp, rates):
    by_setting = {change.setting: change for change in candidate_changes(camp, rates)}

    def saved(setting, site):
        return saved_share(by_setting[setting], site, plan_bytes_per_day(site))

    only = replace(camp, services=(), backlogs=(), background=camp.background[1:])
    assert 0 < saved("background weather desk updates", camp) < 0.5
    assert saved("background weather desk updates", only) == 1
    # pace moves the same bytes at another time
    assert saved("backlog season photos: hours", camp) == 0
    assert saved("finds catalogue: add a clip: chunk size", camp) == 0
    for setting, change in by_setting.items():
        left = plan_bytes_per_day(change.apply(camp)) / plan_bytes_per_day(camp)
        assert saved(setting, camp) == pytest.approx(max(1 - left, 0.0), abs=1e-12), setting


def test_an_overrun_plan_brings_what_saves_most_before_small_things_of_slow_services(
    camp, rates, fake_evaluator
):
    names = [levels[0].setting for levels in ranked(camp, rates, fake_evaluator())]
    assert names.index("local name") < names.index("trench cameras: snapshot: picture quality")


def test_a_purchase_matters_only_where_what_it_is_for_misses_its_target(
    camp, rates, fake_evaluator
):
    order = [levels[0].setting for levels in ranked(camp, rates, fake_evaluator())]
    assert "data plan" in order
    roomy = replace(camp, plan=replace(camp.plan, cap_bytes=1e15))
    assert "data plan" not in [s[0].setting for s in ranked(roomy, rates, fake_evaluator())]
