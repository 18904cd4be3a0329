"""Text from files made harmless: what a terminal or a reader's eye would obey is spelled out."""

import unicodedata

_OBEYED = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}  # Unicode general categories
_JOINERS = {"\u200c", "\u200d"}  # part of ordinary words in Persian and Indic scripts
_LIMIT = 200


def harmless(text: object, limit: int = _LIMIT) -> str:
    """`text` on one line with control, direction and invisible characters spelled as escapes.

    Parameters
    ----------
    text : object
        Anything; its ``str`` is shown.
    limit : int
        Longest result before it is cut and ends in "…". [characters]

    Notes
    -----
    Terminal escapes start with a control character (ECMA-48), and direction overrides are
    format characters (Unicode Standard Annex 9), so spelling out the general categories Cc, Cf,
    Cs, Co, Cn, Zl and Zp leaves nothing that acts. Markup of any kind stays as it was written:
    whoever prints must not interpret it.
    """
    shown = "".join(_shown(character) for character in str(text))
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"


def _shown(character: str) -> str:
    if unicodedata.category(character) not in _OBEYED or character in _JOINERS:
        return character
    return character.encode("unicode_escape").decode("ascii")
