"""Repairs and findings of one file, collected while it is read."""

import re
from collections.abc import Sequence

from linkfit.errors import TraceError
from linkfit.ingest.trace import Finding, Repair

MAX_SHOWN = 20
_ONE = {
    "are": "is", "begin": "begins", "claim": "claims", "have": "has", "hold": "holds",
    "last": "lasts", "lie": "lies", "repeat": "repeats", "start": "starts", "were": "was",
}  # fmt: skip
# "{n} true zeros", "{n} round trips are", "{n} empty cells in column 'rate' are"
_SEVERAL = re.compile(
    r"\{n\} ((?:\w+ )??)"
    r"(rows|cells|times|trips|shares|rates|transfers|columns|gaps|lines|zeros|runs)"
    rf"( in column '[^']*')?(?: ({'|'.join(_ONE)}))?\b"
)


class Notes:
    """What was changed (`repair`) and noticed (`find`) in the file called `name`."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._repairs: dict[str, tuple[int, str]] = {}
        self._findings: dict[str, tuple[int, str]] = {}
        self._problems: list[str] = []
        self._n_more = 0

    def repair(self, kind: str, n_samples: int, text: str) -> None:
        """Count a change; the same kind again adds to the count. `{n}` in `text` is the count."""
        if n_samples:
            self._repairs[kind] = (self._repairs.get(kind, (0, ""))[0] + n_samples, text)

    def find(self, kind: str, n_samples: int, text: str) -> None:
        """Note something that may mislead; counts as in `repair`."""
        if n_samples:
            self._findings[kind] = (self._findings.get(kind, (0, ""))[0] + n_samples, text)

    def problem(self, text: str) -> None:
        """Remember what cannot be read; `refuse_problems` raises them all at once."""
        if len(self._problems) < MAX_SHOWN:
            self._problems.append(text)
        else:
            self._n_more += 1

    def refuse_problems(self) -> None:
        """Raise one TraceError with all problems, if there are any."""
        refuse(self._problems, self._n_more)

    @property
    def repairs(self) -> tuple[Repair, ...]:
        """All repairs, in the order they were first seen."""
        return tuple(
            Repair(source=self.name, kind=kind, n_samples=n, text=_counted(text, n))
            for kind, (n, text) in self._repairs.items()
        )

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, in the order they were first seen."""
        return tuple(
            Finding(source=self.name, kind=kind, n_samples=n, text=_counted(text, n))
            for kind, (n, text) in self._findings.items()
        )


def _counted(text: str, n: int) -> str:
    """`text` with the count in place of ``{n}``; one is "1 row lies" and "once"."""
    if n == 1:
        text = _SEVERAL.sub(_one, text)
    return text.replace("{n}", f"{n:,}")


def _one(match: re.Match[str]) -> str:
    if match[2] == "times" and not match[1]:
        return "once"
    verb = f" {_ONE[match[4]]}" if match[4] else ""
    return f"1 {match[1]}{match[2].removesuffix('s')}{match[3] or ''}{verb}"


def grouped(problems: Sequence[tuple[str, str]]) -> list[str]:
    """One line for each thing that is wrong, with its first file and how many more have it.

    Parameters
    ----------
    problems : sequence of (str, str)
        File and text of its error, whose lines may begin with the file and a colon.
    """
    found: dict[str, list[str]] = {}
    for name, text in problems:
        for line in text.splitlines():
            own = line.startswith(f"{name}: ")
            found.setdefault(line.removeprefix(f"{name}: "), []).append(name if own else "")
    lines = []
    for text, names in found.items():
        first, n_more = names[0], len(names) - 1
        also = f" (and {n_more:,} more files alike)" if n_more > 1 else ""
        also = " (and 1 more file alike)" if n_more == 1 else also
        lines.append(f"{first}: {text}{also}" if first else text)
    return lines


def refuse(problems: Sequence[str], n_more: int = 0) -> None:
    """Raise one TraceError with all `problems`, if there are any."""
    if not problems:
        return
    n_more += max(0, len(problems) - MAX_SHOWN)
    tail = [f"… and {n_more:,} more"] if n_more else []
    raise TraceError("\n".join([*problems[:MAX_SHOWN], *tail]))
