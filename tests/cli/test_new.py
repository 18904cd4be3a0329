import tomllib

from linkfit.site.file import parse_site


def test_the_starter_is_a_site_file_that_can_be_read(run):
    code, out, err = run(
        "new", "photo-library", "backup", "--name", "Dig", "--timezone", "Europe/Lisbon"
    )
    assert (code, err) == (0, "")
    assert parse_site(out).timezone == "Europe/Lisbon"
    assert [service["kind"] for service in tomllib.loads(out)["service"]] == [
        "photo-library",
        "backup",
    ]


def test_it_is_written_once_and_never_over_a_file(run, tmp_path):
    path = tmp_path / "site.toml"
    assert run("new", "chat", "-o", path)[:2] == (0, "")
    first = path.read_text()
    code, _, err = run("new", "backup", "-o", path)
    assert code == 2
    assert "does not exist yet" in err
    assert path.read_text() == first


def test_an_unknown_kind_names_the_known_ones(run):
    code, out, err = run("new", "fax")
    assert (code, out) == (2, "")
    assert "'fax'" in err
    assert "photo-library" in err


def test_without_a_kind_it_is_bad_input(run):
    code, out, err = run("new")
    assert (code, out) == (2, "")
    assert "KIND" in err
