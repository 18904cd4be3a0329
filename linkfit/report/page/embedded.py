"""JSON that a page carries, found again in its text."""

import json
import re
from pathlib import Path
from typing import Any

from linkfit.errors import ArtifactError

MOST_PAGE_BYTES = 8_000_000


def page_text(path: str | Path) -> str:
    """The text of the page at `path`.

    Raises
    ------
    ArtifactError
        If it cannot be read or is no text.
    """
    try:
        with Path(path).open("rb") as stream:
            return stream.read(MOST_PAGE_BYTES + 1).decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "bytes that are not UTF-8"
        raise ArtifactError(
            f"{path}: expected a page written by linkfit report, got {reason}; check the path"
        ) from error


def embedded(text: str, element_id: str, path: str | Path) -> dict[str, Any] | None:
    """The record in the element `element_id` of a page's `text`; None if there is none.

    Raises
    ------
    ArtifactError
        If there is one that is no JSON object.
    """
    match = re.search(
        rf'<script type="application/json" id="{element_id}">(?P<text>[^<]*)</script>', text
    )
    if match is None:
        return None
    try:
        found = json.loads(match["text"])
    except (ValueError, RecursionError) as error:
        raise ArtifactError(damaged(path, str(error))) from error
    if not isinstance(found, dict):
        raise ArtifactError(damaged(path, f"{element_id} holds no record"))
    return found


def damaged(path: str | Path, problem: str) -> str:
    """The message that the page at `path` is no longer as linkfit wrote it."""
    return f"{path}: expected a report as linkfit wrote it, got a damaged one ({problem})"
