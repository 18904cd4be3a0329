"""Files that commands write: never over somebody's work, never half."""

from pathlib import Path

from linkfit.cli.console import write_out
from linkfit.errors import InputError


def write_new_text(target: str, text: str, *, overwrite: bool = False) -> None:
    """Write `text` to the file `target` ("-": stdout), which must not exist yet."""
    if target == "-":
        write_out(text)
        return
    path = Path(target)
    try:
        with path.open("w" if overwrite else "x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        raise InputError(
            f"--output: expected a file that does not exist yet, got {target!r}; "
            "choose another name or remove it"
        ) from error
    except OSError as error:
        raise InputError(
            f"--output: expected a file that can be written, got {target!r} "
            f"({error.strerror}); choose another place"
        ) from error


def check_free(target: str, *, replace: bool) -> None:
    """Refuse a file that is there before work is put into what would be written to it.

    Raises
    ------
    InputError
        If `target` is standard output, a folder, or a file that nobody asked to replace.
    """
    if target == "-":
        raise InputError("--output: expected a file, got '-'; the result goes to stdout already")
    path = Path(target)
    if path.is_dir():
        raise InputError(f"--output: expected a file, got the folder {target!r}; name a file in it")
    if path.exists() and not replace:
        raise InputError(
            f"--output: expected a file that does not exist yet, got {target!r}; choose another "
            "name, or say --replace to put the new one in its place"
        )


def writable_folder(target: str) -> Path:
    """The folder `target`, made if it is not there."""
    path = Path(target)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"output folder: expected a folder that can be written, got {target!r} "
            f"({error.strerror}); choose another place"
        ) from error
    return path
