"""The search against every subset, and its promises: shared draws, full confirmation, few calls."""

from linkfit.advice.changes import candidate_changes
from linkfit.advice.search import search_changes


def test_the_chosen_set_is_what_its_own_evaluation_says(camp, rates, fake_evaluator):
    evaluator = fake_evaluator()
    found = search_changes(camp, candidate_changes(camp, rates), evaluator.evaluate)
    site = camp
    for change in found.best.changes:
        site = change.apply(site)
    assert found.best.evaluation.site == site
    assert evaluator.n_calls == found.n_evaluations <= 40
