import codecs

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import TraceError
from linkfit.ingest.text import decode, find_encoding, refuse_nul

TEXT = "time,upload [Mbit/s]\n2026-01-01T00:00:00Z,1.5\n"


@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "utf-16", "utf-32", "utf-16-le"])
def test_unicode_is_read_whatever_its_width(codec):
    text, encoding = decode(TEXT.encode(codec), "f")
    assert text == TEXT
    assert encoding.certain


def test_utf16_of_the_other_byte_order_with_its_mark():
    data = codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be")
    assert decode(data, "f")[0] == TEXT


@pytest.mark.parametrize(("text", "code_page"), [
    ("Réponse de 192.0.2.1 : octets=32 temps=12 ms\ndélai d'attente dépassé", "cp850"),
    ("192.0.2.1 からの応答: バイト数 =32 時間 =12ms", "cp932"),
    ("Küche;Gerät;Straße", "cp1252"),
])  # fmt: skip
def test_code_pages_of_consoles_and_editors_are_guessed_and_said_to_be(text, code_page):
    read, encoding = decode(text.encode(code_page), "f")
    assert read == text
    assert not encoding.certain


@given(st.text(st.characters(codec="ascii", exclude_characters="\0"), max_size=50))
def test_plain_text_comes_back(text):
    assert decode(text.encode(), "f")[0] == text


def test_a_character_cut_by_the_end_of_the_head_is_no_other_encoding():
    head = "é".encode()[:1]
    assert find_encoding(b"Caf" + head, "f").name == "utf-8"


def test_a_nul_byte_is_placed():
    with pytest.raises(TraceError, match="f:2:3: expected text, got a NUL byte; the file is damag"):
        refuse_nul(b"a,b\n1,\0\n", "f")
    refuse_nul(b"a,b\n", "f")


def test_a_byte_that_does_not_belong_is_shown_with_its_row():
    data = codecs.BOM_UTF8 + b"a\n" + b"b\xff\n"
    with pytest.raises(TraceError, match="f:2: expected text in utf-8-sig, got byte 0xff"):
        decode(data, "f")
