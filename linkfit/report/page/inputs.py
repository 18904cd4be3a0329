"""The inputs of a report: carried inside the page, read back, checked by their hashes."""

import base64
import binascii
import hashlib
import tempfile
import zlib
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from linkfit.errors import ArtifactError, InputError
from linkfit.link.artifact import load_link
from linkfit.report.page.answers import Answers, answers_from
from linkfit.report.page.embedded import damaged, embedded, page_text
from linkfit.site.file import parse_site

if TYPE_CHECKING:
    from linkfit.ingest.trace import Source
    from linkfit.link.model import LinkModel
    from linkfit.site.model import Site

SCHEMA = "linkfit/report/1"
ELEMENT_ID = "report-inputs"
MOST_LINK_BYTES = 600_000  # of the packed link in the page, which is to stay below 2 MB
_MOST_UNPACKED_BYTES = 64_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """All that a report was made of.

    `packed_link` is the saved link, compressed; None where it is too large for a page: then
    `link_sha256` tells whether a link at hand is the one. `settings` were put beside the file.
    `earlier` are the answers of the report that this one is compared with.
    """

    version: str
    seed: int
    start: date | None
    site_text: str
    settings: tuple[str, ...]
    link_sha256: str
    packed_link: str | None
    sources: "tuple[Source, ...]"
    earlier: Answers | None = None

    @property
    def site_sha256(self) -> str:
        """Of the site file's text as UTF-8."""
        return hashlib.sha256(self.site_text.encode()).hexdigest()

    def site(self) -> "Site":
        """The site that the text describes."""
        return parse_site(self.site_text, source="site file in the report", settings=self.settings)

    def plain(self) -> dict[str, Any]:
        """As they stand in the page; the hashes of the measurements with them."""
        return {
            "schema": SCHEMA,
            "version": self.version,
            "seed": self.seed,
            "start": None if self.start is None else self.start.isoformat(),
            "site": self.site_text,
            "site_sha256": self.site_sha256,
            "settings": list(self.settings),
            "link_sha256": self.link_sha256,
            "link": self.packed_link,
            "measurements": [
                {"name": one.name, "format": one.format, "sha256": one.sha256}
                for one in self.sources
            ],
            "earlier": None if self.earlier is None else self.earlier.plain(),
        }


def saved_link_bytes(link: "LinkModel") -> bytes:
    """The link as `LinkModel.save` writes it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "link.json"
        link.save(path)
        return path.read_bytes()


def inputs_of(
    link: "LinkModel",
    *,
    site_text: str,
    settings: tuple[str, ...] = (),
    seed: int,
    start: date | None,
    version: str,
) -> Inputs:
    """The inputs, with the link packed where a page can hold it."""
    saved = saved_link_bytes(link)
    packed = base64.b64encode(zlib.compress(saved, 9)).decode("ascii")
    return Inputs(
        version=version,
        seed=seed,
        start=start,
        site_text=site_text,
        settings=settings,
        link_sha256=hashlib.sha256(saved).hexdigest(),
        packed_link=packed if len(packed) <= MOST_LINK_BYTES else None,
        sources=link.sources,
    )


def read_back(path: str | Path) -> "tuple[Inputs, LinkModel | None]":
    """The inputs in the page at `path`, and the link if the page holds it.

    Raises
    ------
    ArtifactError
        If the file is no page of this kind, or something in it does not fit its hash.
    """
    found = _record(path)
    earlier = found.get("earlier")  # pages of earlier releases do not have it
    try:
        inputs = Inputs(
            version=str(found["version"]),
            seed=int(found["seed"]),
            start=None if found["start"] is None else date.fromisoformat(found["start"]),
            site_text=str(found["site"]),
            settings=tuple(str(one) for one in found["settings"]),
            link_sha256=str(found["link_sha256"]),
            packed_link=None if found["link"] is None else str(found["link"]),
            sources=(),
            earlier=None if earlier is None else answers_from(dict(earlier), path),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise ArtifactError(damaged(path, f"inputs: {error}")) from error
    if inputs.site_sha256 != found.get("site_sha256"):
        raise ArtifactError(damaged(path, "the site file does not fit its hash"))
    if inputs.packed_link is None:
        return inputs, None
    return inputs, _unpacked(path, inputs)


def _record(path: str | Path) -> dict[str, Any]:
    found = embedded(page_text(path), ELEMENT_ID, path)
    if found is None:
        raise ArtifactError(
            f"{path}: expected a page written by linkfit report, got a file without its inputs; "
            "give the page itself, not its PDF or Markdown"
        )
    if found.get("schema") != SCHEMA:
        raise ArtifactError(
            f"{path}: schema: expected {SCHEMA!r}, got {found.get('schema')!r}; use the release "
            "that wrote it"
        )
    return found


def _unpacked(path: str | Path, inputs: Inputs) -> "LinkModel":
    assert inputs.packed_link is not None
    try:
        packed = base64.b64decode(inputs.packed_link, validate=True)
        saved = zlib.decompressobj().decompress(packed, _MOST_UNPACKED_BYTES)
    except (binascii.Error, zlib.error, ValueError) as error:
        raise ArtifactError(damaged(path, f"link: {error}")) from error
    if hashlib.sha256(saved).hexdigest() != inputs.link_sha256:
        raise ArtifactError(damaged(path, "the link does not fit its hash"))
    with tempfile.TemporaryDirectory() as folder:
        link_path = Path(folder) / "link.json"
        link_path.write_bytes(saved)
        return load_link(link_path)


def check_same_link(inputs: Inputs, link: "LinkModel") -> None:
    """Refuse a link that is not the one that the report was made of.

    Raises
    ------
    InputError
        If the hashes differ.
    """
    found = hashlib.sha256(saved_link_bytes(link)).hexdigest()
    if found != inputs.link_sha256:
        raise InputError(
            f"LINK: expected the link that the report was made of (SHA-256 "
            f"{inputs.link_sha256[:12]}…), got another one ({found[:12]}…); give the same "
            "measurements in the same order"
        )
