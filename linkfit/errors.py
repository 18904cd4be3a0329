"""What linkfit raises on purpose, and the exit code each class ends the program with.

::

    LinkfitError (1)
      InputError (2, ValueError)
        TraceError        a measurement file cannot be read
        ConfigError       a site file or an option has one or more problems
        ArtifactError     a saved linkfit file is damaged or of another version
      FitError (3)        the measurements cannot carry a model
      InfeasibleError (4) no setting meets the targets
    LinkfitWarning (UserWarning)
      ShortTraceWarning   an answer rests on few measurements
      ExtrapolationWarning an answer lies outside what was measured
"""

from collections.abc import Sequence


class LinkfitError(Exception):
    """Base class: catch this to catch everything linkfit raises on purpose."""

    exit_code = 1


class InputError(LinkfitError, ValueError):
    """A value, file or option from the caller cannot be used."""

    exit_code = 2


class TraceError(InputError):
    """A measurement file cannot be read; the text says where and what to do."""


class ArtifactError(InputError):
    """A file that linkfit saved is damaged, or of a version this release cannot read."""


class ConfigError(InputError):
    """A file has one or more problems; `problems` lists all of them, in file order."""

    def __init__(self, source: str, problems: Sequence[str]) -> None:
        super().__init__(source, problems)
        self.source, self.problems = source, tuple(problems)

    def __str__(self) -> str:
        return "\n".join(f"{self.source}: {problem}" for problem in self.problems)


class FitError(LinkfitError):
    """The measurements cannot carry a model, however wide its intervals."""

    exit_code = 3


class InfeasibleError(LinkfitError):
    """No allowed setting meets all targets; the text names the nearest and what is in the way."""

    exit_code = 4


class LinkfitWarning(UserWarning):
    """Base class of everything linkfit warns of."""


class ShortTraceWarning(LinkfitWarning):
    """An answer rests on few measurements; its interval is wide for that reason."""


class ExtrapolationWarning(LinkfitWarning):
    """An answer lies outside what was measured (an hour, a rate or a size never seen)."""
