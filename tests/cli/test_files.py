import pytest

from linkfit.cli.files import check_free, writable_folder, write_new_text
from linkfit.errors import InputError


def test_dash_is_stdout(capsys):
    write_new_text("-", "text\n")
    assert capsys.readouterr().out == "text\n"


def test_a_file_that_exists_is_left_alone(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text("somebody's work")
    with pytest.raises(InputError, match=r"does not exist yet, got '.*site\.toml'"):
        write_new_text(str(path), "new")
    assert path.read_text() == "somebody's work"


def test_overwriting_is_a_choice(tmp_path):
    path = tmp_path / "link.json"
    path.write_text("old")
    write_new_text(str(path), "new", overwrite=True)
    assert path.read_text() == "new"


def test_a_place_that_cannot_be_written_is_named(tmp_path):
    with pytest.raises(InputError, match=r"can be written, got '.*missing/x\.toml'"):
        write_new_text(str(tmp_path / "missing" / "x.toml"), "new")


def test_a_folder_is_made_and_a_file_in_its_place_named(tmp_path):
    assert writable_folder(str(tmp_path / "a" / "b")).is_dir()
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match=r"can be written, got '.*file'"):
        writable_folder(str(tmp_path / "file"))


def test_a_taken_name_is_refused_before_any_work(tmp_path):
    path = tmp_path / "link.json"
    check_free(str(path), replace=False)
    path.write_text("old")
    with pytest.raises(InputError, match=r"got '.*link\.json'; .* say --replace"):
        check_free(str(path), replace=False)
    check_free(str(path), replace=True)


@pytest.mark.parametrize("replace", [True, False])
def test_a_folder_or_standard_output_is_no_file(tmp_path, replace):
    with pytest.raises(InputError, match=r"expected a file, got the folder"):
        check_free(str(tmp_path), replace=replace)
    with pytest.raises(InputError, match=r"expected a file, got '-'"):
        check_free("-", replace=replace)
