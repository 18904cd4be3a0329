"""The answers of an earlier report, read back from its page."""

from pathlib import Path

from linkfit.errors import ArtifactError
from linkfit.plain import harmless
from linkfit.report.page.answers import ELEMENT_ID, SCHEMA, Answers, answers_from
from linkfit.report.page.embedded import embedded, page_text
from linkfit.report.page.inputs import ELEMENT_ID as INPUTS_ID


def read_earlier(path: str | Path) -> Answers:
    """The answers in the page at `path`.

    Raises
    ------
    ArtifactError
        If the file is no report, holds no answers, those of another version, or damaged ones.
    """
    text = page_text(path)
    found = embedded(text, ELEMENT_ID, path)
    if found is None and embedded(text, INPUTS_ID, path) is not None:
        raise ArtifactError(
            f"{path}: expected a report that holds its answers, got one of an earlier release, "
            "which did not keep them; make it again first: linkfit report --from "
            f"{path} -o again.html"
        )
    if found is None:
        raise ArtifactError(
            f"{path}: expected a page written by linkfit report, got a file without answers; give "
            "the page itself, not its PDF or Markdown"
        )
    if found.get("schema") != SCHEMA:
        raise ArtifactError(
            f"{path}: schema of the answers: expected {SCHEMA!r}, got "
            f"{harmless(found.get('schema'))!r}; make the page again with this release: linkfit "
            f"report --from {path} -o again.html"
        )
    return answers_from(found, path)
