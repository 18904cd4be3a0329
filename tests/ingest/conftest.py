"""Texts written to a file and read back: how most tests of readers begin."""

import pytest

from linkfit.ingest.reader import read_trace


@pytest.fixture
def read(tmp_path):
    """Read a text or bytes as if it were a file; the name says nothing of the content."""

    def read_one(content, *, name="measurement", **options):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return read_trace(path, **options)

    return read_one


@pytest.fixture
def kinds():
    """Repairs and findings of a trace as {kind: count}."""

    def of(trace):
        notes = (*trace.repairs, *trace.findings)
        return {note.kind: note.n_samples for note in notes}

    return of
