import hashlib
import io
import os
import sys

import pytest

from linkfit.errors import TraceError
from linkfit.ingest.rawfile import open_raw


def test_a_file_is_summed_counted_and_rewound(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"x\ny\0\n")
    with open_raw(path) as raw:
        assert raw.sha256 == hashlib.sha256(b"x\ny\0\n").hexdigest()
        assert (raw.n_bytes, raw.n_lines, raw.has_nul) == (5, 2, True)
        assert raw.read_all() == raw.read_all() == b"x\ny\0\n"


def test_standard_input_can_be_read_twice(monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"0\n1\n")))
    with open_raw("-") as raw:
        assert raw.name == "standard input"
        assert raw.read_all() == raw.read_all() == b"0\n1\n"


@pytest.mark.parametrize(("make", "text"), [
    (lambda p: None, "got 'No such file or directory'"),
    (lambda p: p.mkdir(), "expected a file, got a directory"),
    (lambda p: os.mkfifo(p), "got a device, pipe or socket"),
    (lambda p: p.touch(), "expected measurements, got 0 bytes"),
    (lambda p: p.symlink_to("/dev/zero"), "got a device, pipe or socket"),
])  # fmt: skip
def test_what_is_no_file_with_content_is_refused(tmp_path, make, text):
    path = tmp_path / "x"
    make(path)
    with pytest.raises(TraceError, match=text), open_raw(path):
        pass


def test_an_error_while_the_file_is_used_is_not_taken_for_one_of_opening(tmp_path):
    path = tmp_path / "a"
    path.write_text("x")
    with pytest.raises(OSError, match="of the caller"), open_raw(path):
        raise OSError("of the caller")


def test_the_sum_does_not_move_the_place_of_the_reader(tmp_path):
    path = tmp_path / "a"
    content = bytes(range(1, 256)) * 20_000  # several blocks
    path.write_bytes(content)
    with open_raw(path) as raw:
        raw.rewind()
        read = b"".join(iter(lambda: raw.file.read(70_001), b""))
        assert read == content
        assert raw.sha256 == hashlib.sha256(content).hexdigest()
        assert not raw.has_nul


def test_a_nul_deep_in_a_file_is_refused_with_its_place(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"1,2\n" * 100_000 + b"3,\0\n")
    with open_raw(path) as raw, pytest.raises(TraceError, match=r"a:100001:3: .* a NUL byte"):
        raw.refuse_nul()
