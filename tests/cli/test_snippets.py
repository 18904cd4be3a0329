"""Where the snippets of ``advise --emit`` go."""

from types import SimpleNamespace

import pytest

from linkfit.cli.snippets import write_snippets
from linkfit.errors import InputError

NOTHING = SimpleNamespace(chosen=())


def test_a_folder_is_made(tmp_path, capsys):
    write_snippets(NOTHING, str(tmp_path / "new"))
    text = (tmp_path / "new" / "settings-to-review.txt").read_text()
    assert text.endswith("# Nothing to change.\n")
    assert "settings to review in" in capsys.readouterr().err


def test_a_dash_is_standard_output(capsys):
    write_snippets(NOTHING, "-")
    assert capsys.readouterr().out.startswith("# Settings that the advice chose")


def test_a_file_is_no_folder(tmp_path):
    file = tmp_path / "file"
    file.write_text("")
    with pytest.raises(InputError, match=r"--emit: expected a folder that can be written, got"):
        write_snippets(NOTHING, str(file))
