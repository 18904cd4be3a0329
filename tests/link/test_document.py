from dataclasses import replace

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.link.document import LatencyDocument, latency_document, latency_model, write_whole
from linkfit.link.latency import latency_prior


def test_latency_survives_its_document():
    prior = latency_prior()
    again = latency_model(latency_document(prior))
    assert np.array_equal(again.idle_rtts_s, prior.idle_rtts_s)
    assert again.loaded_rtts_s is None
    assert latency_model(latency_document(None)) is None


def test_latency_of_an_earlier_release_is_read_without_bursts():
    document = latency_document(latency_prior()).model_dump()
    del document["random_loss_frac"], document["mean_burst_probes"]
    again = latency_model(LatencyDocument.model_validate(document))
    assert (again.random_loss_frac, again.mean_burst_probes) == (None, None)


def test_bursts_of_loss_survive_their_document():
    model = replace(latency_prior(), random_loss_frac=0.01, mean_burst_probes=1.5)
    again = latency_model(latency_document(model))
    assert (again.random_loss_frac, again.mean_burst_probes) == (0.01, 1.5)


def test_writing_replaces_the_whole_file(tmp_path):
    path = tmp_path / "x.json"
    write_whole(path, "one, and long")
    write_whole(path, "two")
    assert path.read_text() == "two"
    assert [p.name for p in tmp_path.iterdir()] == ["x.json"]


def test_a_folder_in_the_way_is_named(tmp_path):
    (tmp_path / "x.json").mkdir()
    with pytest.raises(InputError, match=r"x.json: expected a file that can be written"):
        write_whole(tmp_path / "x.json", "one")
