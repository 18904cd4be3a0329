"""Every key of the site file is described, has an example, and the example is taken."""

import pytest

from linkfit.site import entries, place_entries
from linkfit.site.entries import SiteFile
from linkfit.site.entry import Entry

MODELS = [
    model
    for model in {**vars(place_entries), **vars(entries)}.values()
    if isinstance(model, type) and issubclass(model, Entry)
]
KEYS = [
    (model, key)
    for model in MODELS
    if model not in (Entry, SiteFile)
    for key in model.model_fields
    if key != "task"
]


@pytest.mark.parametrize(("model", "key"), KEYS, ids=lambda item: getattr(item, "__name__", item))
def test_each_key_says_what_it_means_and_shows_an_example(model, key):
    field = model.model_fields[key]
    assert field.description
    assert field.examples, "the starter file and the messages show it"
    needed = {k: f.examples[0] for k, f in model.model_fields.items() if f.is_required()}
    entry = model.model_validate({**needed, key: field.examples[0]})
    assert getattr(entry, key) is not None


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_models_are_frozen_strict_and_refuse_unknown_keys(model):
    config = model.model_config
    assert (config["frozen"], config["strict"], config["extra"]) == (True, True, "forbid")
