import pytest

from linkfit.cli.figures import write_link
from linkfit.errors import InputError
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link


def test_the_figures_of_a_link_are_counted_and_their_folder_named(tmp_path, capsys):
    link = fit_link(Trace.from_quick_numbers(up_bps=6e6))
    write_link(link, str(tmp_path / "new"), kind="png", seed=1)
    n_files = len(list((tmp_path / "new").iterdir()))
    assert capsys.readouterr().err == f"{n_files} figures of the link in {tmp_path / 'new'}\n"
    assert n_files > 0


def test_a_file_in_the_place_of_the_folder_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match=r"can be written, got '.*file'"):
        write_link(fit_link(Trace.from_quick_numbers(up_bps=6e6)), str(tmp_path / "file"))
