"""What is wrong with a site file, gathered with its place, told in one go and in file order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from linkfit.errors import ConfigError
from linkfit.site.shown import as_toml, did_you_mean, shown, shown_key

Place = tuple[str | int, ...]
_M = TypeVar("_M", bound=BaseModel)

_EXPECTED = {
    "int_type": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "string_type": "a text",
    "finite_number": "a finite number",
    "tuple_type": "a list",
    "list_type": "a list",
    "model_type": "a table",
    "dict_type": "a table",
    "greater_than_equal": "at least {ge:g}",
    "less_than_equal": "at most {le:g}",
    "literal_error": "{expected}",
}


def _model_at(model: type[BaseModel], place: Sequence[str | int]) -> type[BaseModel] | None:
    """The model of the table at `place` inside a table of `model`."""
    found: type[BaseModel] | None = model
    for part in place:
        if isinstance(part, int):
            continue
        if found is None or part not in found.model_fields:
            return None
        found = _model_in(found.model_fields[part].annotation)
    return found


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = (_model_in(argument) for argument in get_args(annotation))
    return next((model for model in inner if model is not None), None)


def _reached(raw: object, place: Place) -> Place:
    """As much of `place` as the file itself has: a text may stand for a whole table."""
    for n, part in enumerate(place):
        if isinstance(raw, Mapping):
            raw = raw.get(str(part))
        elif isinstance(raw, list) and isinstance(part, int):
            raw = raw[part] if part < len(raw) else None
        else:
            return place[:n]
    return place


def _what(model: type[BaseModel], error: ErrorDetails) -> str:
    """`expected …, got …; what to do` for one error of pydantic."""
    kind, place = error["type"], error["loc"]
    context = error.get("ctx", {})
    if kind == "value_error":
        return str(context["error"]).removeprefix("value: ")
    if kind == "extra_forbidden":
        owner = _model_at(model, place[:-1])
        keys = sorted(owner.model_fields) if owner else []
        hint = did_you_mean(str(place[-1]), keys) or "; take it out"
        return f"expected one of the keys {', '.join(keys)}, got {shown(str(place[-1]))}{hint}"
    if kind == "missing":
        owner = _model_at(model, place[:-1])
        key = str(place[-1])
        examples = owner.model_fields[key].examples if owner else None
        example = f"; add {key} = {as_toml(examples[0])}" if examples else f"; add {key}"
        return f"expected a value, got nothing{example}"
    if kind not in _EXPECTED:
        return f"expected another value ({error['msg']}), got {shown(error['input'])}"
    expected = _EXPECTED[kind].format(**context)
    hint = _hint(kind, expected, error["input"]) or _meaning(model, place)
    return f"expected {expected}, got {shown(error['input'])}{hint}"


def _hint(kind: str, expected: str, value: object) -> str:
    """What to do about a value of the wrong type; "" if only the key's meaning can tell."""
    if kind == "literal_error" and isinstance(value, str):
        choices = expected.replace("'", "").replace(" or ", ", ").split(", ")
        return did_you_mean(value, choices)
    if kind == "int_type" and isinstance(value, float | str):
        return "; write it without quotes or decimal point"
    if kind in {"float_type", "bool_type"} and isinstance(value, str):
        return "; write it without quotes"
    return ""


def _meaning(model: type[BaseModel], place: Sequence[str | int]) -> str:
    """What the key at `place` means, from its description."""
    keys = [part for part in place if isinstance(part, str)]
    owner = _model_at(model, keys[:-1])
    field_info = owner.model_fields.get(keys[-1]) if owner and keys else None
    described = field_info.description if field_info else None
    return f"; meaning: {described}" if described else ""


def _near(key: str, model: type[BaseModel]) -> list[str]:
    """The key of `model` that `key` was probably meant to be, if any."""
    return get_close_matches(key.lower(), model.model_fields, n=1)


def place_text(place: Place) -> str:
    """``("service", 1, "task", 0, "size")`` as ``"service 2: task 1: size"``."""
    parts: list[str] = []
    for part in place:
        if isinstance(part, int) and parts:
            parts[-1] = f"{parts[-1]} {part + 1}"
        else:
            parts.append(shown_key(part))
    return ": ".join(parts)


@dataclass(slots=True)
class Problems:
    """Collects problems of the file called `source`; `order` gives its top-level tables."""

    source: str
    order: Mapping[str, int] = field(default_factory=dict)
    _found: list[tuple[tuple[int, ...], str]] = field(default_factory=list)
    _left_out: dict[Place, set[str]] = field(default_factory=dict)

    def add(self, place: Place, what: str) -> None:
        """Note one problem: `what` reads ``expected …, got …; what to do``."""
        first = self.order.get(str(place[0]), len(self.order)) if place else -1
        indices = (part for part in place if isinstance(part, int))
        text = f"{place_text(place)}: {what}" if place else what
        self._found.append(((first, *indices), text))

    def validated(self, model: type[_M], raw: object, place: Place) -> _M | None:
        """`raw` as a `model`, its problems noted.

        Keys with problems are left out of what is returned, so that other checks can go on;
        `left_out` names them. None if a `model` cannot do without them.
        """
        try:
            return model.model_validate(raw)
        except ValidationError as error:
            details = error.errors(include_url=False)
        for detail in details:
            self.add(place + _reached(raw, detail["loc"]), _what(model, detail))
        if not isinstance(raw, Mapping):
            return None
        wrong = {str(detail["loc"][0]) for detail in details if detail["loc"]}
        # a misspelt key stands for the one it was meant to be
        meant = {close for key in wrong - set(model.model_fields) for close in _near(key, model)}
        self._left_out[place] = wrong | meant
        sound = {key: value for key, value in raw.items() if key not in wrong}
        try:
            return model.model_validate(sound)
        except ValidationError:
            return None

    def left_out(self, place: Place, *keys: str) -> bool:
        """Had one of `keys` of the table at `place` a problem of its own?"""
        return not self._left_out.get(place, set()).isdisjoint(keys)

    @property
    def found(self) -> tuple[str, ...]:
        """All problems, each once, in file order."""
        ordered = sorted(self._found, key=lambda problem: problem[0])
        return tuple(dict.fromkeys(text for _, text in ordered))

    def raise_any(self) -> None:
        """Raise one ConfigError with all problems, if there are any."""
        if self._found:
            raise ConfigError(self.source, self.found)
