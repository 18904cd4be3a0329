from datetime import UTC, datetime, time

import pytest

from linkfit.cli import demo_files
from linkfit.errors import InputError
from linkfit.ingest.reader import read_trace
from linkfit.site.file import read_site


def test_the_checkout_has_the_site_and_measurements_that_end_before_the_first_day():
    folder = demo_files.demo_folder()
    site = read_site(folder / "examples" / "kestrel-ridge.toml")
    trace = read_trace(folder / "traces" / "kestrel-ridge")
    last_s = float((trace.throughput.start_s + trace.throughput.duration_s).max())
    assert datetime.combine(demo_files.FIRST_DAY, time(), UTC).timestamp() > last_s
    deadlines = [backlog.deadline for backlog in site.backlogs if backlog.deadline]
    assert all(deadline > demo_files.FIRST_DAY for deadline in deadlines)


def test_a_package_without_its_data_says_what_to_do(monkeypatch, tmp_path):
    monkeypatch.setattr(demo_files, "_PACKAGE", tmp_path / "linkfit")
    with pytest.raises(InputError, match="install linkfit again"):
        demo_files.demo_folder()


def test_data_inside_the_package_goes_before_a_checkout(monkeypatch, tmp_path):
    site = tmp_path / "linkfit" / "demo_data" / "examples" / "kestrel-ridge.toml"
    site.parent.mkdir(parents=True)
    site.write_text("")
    monkeypatch.setattr(demo_files, "_PACKAGE", tmp_path / "linkfit")
    assert demo_files.demo_folder() == tmp_path / "linkfit" / "demo_data"
