import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.link.document import latency_document, latency_model, write_whole
from linkfit.link.latency import latency_prior


def test_latency_survives_its_document():
    prior = latency_prior()
    again = latency_model(latency_document(prior))
    assert np.array_equal(again.idle_rtts_s, prior.idle_rtts_s)
    assert again.loaded_rtts_s is None
    assert latency_model(latency_document(None)) is None


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
