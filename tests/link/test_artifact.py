import json

import numpy as np
import pytest

import linkfit as lf
from linkfit.errors import ArtifactError, InputError
from linkfit.ingest.trace import Trace
from linkfit.link.artifact import save_link


@pytest.fixture(scope="module")
def link():
    rng = np.random.default_rng(5)
    rates = rng.lognormal(15, 0.5, 240)
    rates[50:60] = 0
    quick = Trace.from_quick_numbers(down_bps=24e6, rtt_s=0.055)
    return lf.fit_link(Trace.merge([Trace.from_rates(rates, direction="up"), quick]), seed=4)


def test_a_saved_link_gives_the_same_futures(link, tmp_path):
    save_link(link, tmp_path / "link.json")
    again = lf.load_link(tmp_path / "link.json")
    for direction, hour in (("up", None), ("down", 20.0)):
        one, two = (
            model.paths(
                direction, horizon_s=90, n_draws=40, rng=np.random.default_rng(1), hour=hour
            )
            for model in (link, again)
        )
        assert (one.cumulative_bits == two.cumulative_bits).all()
    rtts = [m.draw_rtts_s(9, np.random.default_rng(2)).tolist() for m in (link, again)]
    assert rtts[0] == rtts[1]
    assert again.missing == link.missing
    assert again.sources == link.sources
    assert again.seed == 4
    assert again.up.marginal.families == link.up.marginal.families
    assert again.up.dependence == link.up.dependence


def test_saving_again_gives_the_same_bytes(link, tmp_path):
    link.save(tmp_path / "a.json")
    lf.load_link(tmp_path / "a.json").save(tmp_path / "b.json")
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes()


def damaged(link, path, change):
    link.save(path)
    document = json.loads(path.read_text())
    change(document)
    path.write_text(json.dumps(document))
    return path


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda d: d.update(schema="linkfit/link/9"), r"schema: expected 'linkfit/link/1', got"),
        (lambda d: d.pop("schema"), r"schema: expected 'linkfit/link/1', got None"),
        (lambda d: d.pop("missing"), r"missing: Field required"),
        (lambda d: d.update(extra=1), r"extra: Extra inputs are not permitted"),
        (lambda d: d["up"].update(mean_block_s="300"), r"up.mean_block_s: .* valid number"),
        (lambda d: d["up"].update(mean_block_s=-1.0), r"mean_block_s: expected .* > 0, got -1"),
        (lambda d: d["up"]["runs"].update(rates_bps_f32="@@"), r"damaged one \(.*base64"),
        (lambda d: d["up"]["runs"].update(lengths_s=[3, 4]), r"first: expected growing indices"),
        (lambda d: d["up"]["daily"].update(factor=[1.0]), r"factor: expected 24 finite numbers"),
        (lambda d: d["latency"].update(idle_rtts_s=[0.2, 0.1]), r"do not fall"),
        (lambda d: d["up"]["level"].update(unknown_sigma=-0.1), r"unknown_sigma"),
    ],
)
def test_damage_is_named(link, tmp_path, change, message):
    path = damaged(link, tmp_path / "link.json", change)
    with pytest.raises(ArtifactError, match=message):
        lf.load_link(path)


def test_a_cut_or_foreign_file_is_refused(link, tmp_path):
    path = tmp_path / "link.json"
    link.save(path)
    path.write_bytes(path.read_bytes()[:500])
    with pytest.raises(ArtifactError, match=r"link.json: expected a link saved by linkfit, got a"):
        lf.load_link(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ArtifactError, match=r"got bytes that are not UTF-8"):
        lf.load_link(path)
    path.write_text("[1, 2]")
    with pytest.raises(ArtifactError, match=r"got None"):
        lf.load_link(path)
    path.write_text("[" * 100_000)
    with pytest.raises(ArtifactError, match=r"damaged"):
        lf.load_link(path)
    with pytest.raises(ArtifactError, match=r"No such file"):
        lf.load_link(tmp_path / "none.json")


def test_a_failed_write_leaves_the_old_file(link, tmp_path, monkeypatch):
    path = tmp_path / "link.json"
    path.write_text("old")

    def full_disk(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full_disk)
    with pytest.raises(InputError, match=r"link.json: .* got No space left on device"):
        link.save(path)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(InputError, match=r"expected a folder to write to, got No such file"):
        link.save(tmp_path / "no" / "link.json")
