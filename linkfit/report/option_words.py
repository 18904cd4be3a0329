"""What the reader asks its caller for, in the words of the command line."""

import re

_PAIRS = re.compile(r"\b(columns|units)=\{([^}]*)\}")
# 'HEADER': 'ROLE', "it's": 'ROLE', 3: 'ROLE'
_PAIR = re.compile(r"""(?:'([^']*)'|"([^"]*)"|(\d+)): ?'([^']*)'""")
_PLAIN = re.compile(r"[\w./+:-]+")
_SIMPLE = (
    (re.compile(r"\bdirection='(\w+)'"), r"--direction \1"),
    (re.compile(r"\btimezone='([^']*)'"), r"--timezone \1"),
    (re.compile(r"\bsaturating=True\b"), "--saturating"),
    (re.compile(r"\bsaturating=False\b"), "--not-saturating"),
    (re.compile(r"\bstep_s=([\d.]+)"), r'--row-length "\1 s"'),
    (re.compile(r"\bsay step_s\b"), "say --row-length"),
    (re.compile(r"\b(columns|units|timezone)=(?=[ );]|$)"), r"--\1"),
)


def as_options(text: str) -> str:
    """`text` with every argument of `read_trace` that it names written as an option.

    ``units={'chunk_size': 'MB' (bytes) or 'kbit' (bits)}`` becomes
    ``--units chunk_size=MB (bytes) or 'kbit' (bits)``. Text that names none stays as it is.
    """
    text = _PAIRS.sub(_options, text)
    for pattern, words in _SIMPLE:
        text = pattern.sub(words, text)
    return text


def _options(match: re.Match[str]) -> str:
    name, inside = match[1], match[2]
    pairs = list(_PAIR.finditer(inside))
    if not pairs:
        return match[0]
    options = [f"--{name} {_quoted(f'{p[1] or p[2] or p[3]}={p[4]}')}" for p in pairs]
    return " ".join(options) + inside[pairs[-1].end() :]


def _quoted(pair: str) -> str:
    """As a shell takes it for one word."""
    key, _, value = pair.rpartition("=")
    if _PLAIN.fullmatch(key) and _PLAIN.fullmatch(value):
        return pair
    return f'"{pair}"'
