"""Bytes to text: UTF-8 with or without a mark, UTF-16, and the code pages of old consoles."""

import codecs
from dataclasses import dataclass

from linkfit.errors import TraceError

_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),  # before UTF-16: its mark starts with that of UTF-16 LE
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# Consoles print in the code page of the machine's maker, editors in that of the window system.
_CODE_PAGES = ("cp932", "cp850", "cp437", "cp1252", "cp866", "cp1251")
_MOSTLY = 0.8
_KANA_AND_HAN = (("぀", "ヿ"), ("一", "鿿"), ("ｦ", "ﾟ"), ("　", "〿"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Encoding:
    """How a file's bytes became text; `certain` False means that a code page was guessed."""

    name: str
    certain: bool = True

    @property
    def is_utf8(self) -> bool:
        """Whether the bytes can go to a parser as they are."""
        return self.name in ("utf-8", "utf-8-sig")


def find_encoding(head: bytes, where: str) -> Encoding:
    """The encoding of a file that starts with `head`.

    Raises
    ------
    TraceError
        If the bytes are no text: NUL bytes that no UTF-16 explains.
    """
    for mark, name in _MARKS:
        if head.startswith(mark):
            return Encoding(name=name)
    if b"\0" in head:
        return Encoding(name=_utf16_without_mark(head, where))
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)  # may end inside a character
    except UnicodeDecodeError:
        return Encoding(name=_likeliest_code_page(head), certain=False)
    return Encoding(name="utf-8")


def decode(data: bytes, where: str) -> tuple[str, Encoding]:
    """All of `data` as text, with the encoding it was read in.

    Raises
    ------
    TraceError
        If a byte does not belong to the encoding that the start of the file shows.
    """
    encoding = find_encoding(data, where)
    try:
        text = data.decode(encoding.name)
    except UnicodeDecodeError as error:
        rest: bytes = error.object  # the bytes without a mark, which `start` counts in
        row = rest.count(b"\n", 0, error.start) + 1
        raise TraceError(
            f"{where}:{row}: expected text in {encoding.name}, got byte "
            f"0x{rest[error.start]:02x}; save the file as UTF-8"
        ) from error
    refuse_nul(text.encode("utf-8") if "\0" in text else b"", where)
    return text, encoding


def refuse_nul(data: bytes, where: str, *, first_row: int = 1) -> None:
    """Raise if `data` holds a NUL byte: a text file never does, a damaged one often."""
    at = data.find(b"\0")
    if at < 0:
        return
    row = first_row + data.count(b"\n", 0, at)
    column = at - (data.rfind(b"\n", 0, at) + 1) + 1
    raise TraceError(
        f"{where}:{row}:{column}: expected text, got a NUL byte; the file is damaged (often by "
        "a power cut while it was written) or no text: cut the damaged part off and try again"
    )


def _utf16_without_mark(head: bytes, where: str) -> str:
    """UTF-16 without its mark: nearly every other byte of Latin text is NUL."""
    pairs = len(head) // 2
    for name, high, low in (
        ("utf-16-le", head[1::2], head[0::2]),
        ("utf-16-be", head[0::2], head[1::2]),
    ):
        # text has zeros in the high bytes only; a hole in a file has them in both
        if pairs and high.count(0) > _MOSTLY * pairs and not low.count(0):
            return name
    refuse_nul(head, where)
    raise AssertionError("unreachable: head holds a NUL byte")


def _likeliest_code_page(head: bytes) -> str:
    """The code page whose reading of the bytes above 127 looks most like words.

    A guess, and reported as one: digits and separators, all that is used, are the same in each.
    """
    scores = {name: _word_likeness(head, name) for name in _CODE_PAGES}
    return max(scores, key=lambda name: scores[name])


def _word_likeness(head: bytes, code_page: str) -> float:
    """Share of the characters above 127 that are plausible letters, in [0, 1]."""
    text = codecs.getincrementaldecoder(code_page)(errors="replace").decode(head)
    foreign = [c for c in text if ord(c) > 127]
    if not foreign:
        return 0.0
    if code_page == "cp932":
        good = float(sum(any(low <= c <= high for low, high in _KANA_AND_HAN) for c in foreign))
    elif code_page in ("cp866", "cp1251"):
        good = sum("а" <= c <= "я" for c in foreign) * _MOSTLY  # Cyrillic only when clearly so
    else:
        good = sum(
            c in "àâäáãåçéèêëíìîïñóòôöõúùûüßæøœÀÂÄÁÃÅÇÉÈÊËÍÌÎÏÑÓÒÔÖÕÚÙÛÜ°µ\xa0" for c in foreign
        )
    return float(good) / len(foreign)
