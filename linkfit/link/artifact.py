"""link.json: a fitted link model saved and loaded."""

import binascii
import json
from pathlib import Path

from pydantic import ValidationError

from linkfit.errors import ArtifactError, InputError
from linkfit.link.document import SCHEMA, LinkDocument, direction_model, latency_model
from linkfit.link.model import LinkModel


def save_link(link: LinkModel, path: str | Path) -> None:
    """Write `link` to `path` as JSON, whole or not at all.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    link.save(path)


def load_link(path: str | Path) -> LinkModel:
    """The link model saved at `path`.

    Raises
    ------
    ArtifactError
        If the file cannot be read, is damaged, or is of a version this release does not know.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "bytes that are not UTF-8"
        raise ArtifactError(
            f"{path}: expected a link saved by linkfit, got {reason}; run 'linkfit fit' again"
        ) from error
    _check_schema(path, text)
    try:
        document = LinkDocument.model_validate_json(text)
        return LinkModel(
            up=direction_model(document.up),
            down=direction_model(document.down),
            latency=latency_model(document.latency),
            sources=document.sources,
            findings=document.findings,
            missing=document.missing,
            seed=document.seed,
        )
    except ValidationError as error:
        raise ArtifactError(_damaged(path, _first_problem(error))) from error
    except (InputError, binascii.Error, ValueError) as error:
        raise ArtifactError(_damaged(path, str(error))) from error


def _check_schema(path: str | Path, text: str) -> None:
    """Another version is told apart from damage before any field is looked at."""
    try:
        found = json.loads(text)
    except (json.JSONDecodeError, RecursionError) as error:
        raise ArtifactError(_damaged(path, str(error))) from error
    schema = found.get("schema") if isinstance(found, dict) else None
    if schema != SCHEMA:
        raise ArtifactError(
            f"{path}: schema: expected {SCHEMA!r}, got {schema!r}; fit the traces again with this "
            "release"
        )


def _damaged(path: str | Path, problem: str) -> str:
    return f"{path}: expected a link saved by linkfit, got a damaged one ({problem}); fit again"


def _first_problem(error: ValidationError) -> str:
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"])
    more = error.error_count() - 1
    return f"{place}: {first['msg']}" + (f", and {more} more" if more else "")
