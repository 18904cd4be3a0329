"""What is wrong with a site file, gathered with its place, told in one go and in file order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from linkfit.errors import ConfigError
from linkfit.site.shown import did_you_mean, shown, shown_key

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


def _as_toml(value: object) -> str:
    """An example value as one would write it."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_as_toml(v)}" for key, v in value.items()) + " }"
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else f"{value}"


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
        example = f"; add {key} = {_as_toml(examples[0])}" if examples else f"; add {key}"
        return f"expected a value, got nothing{example}"
    if kind not in _EXPECTED:
        return f"expected another value ({error['msg']}), got {shown(error['input'])}"
    expected = _EXPECTED[kind].format(**context)
    value = error["input"]
    hint = ""
    if kind == "literal_error" and isinstance(value, str):
        choices = expected.replace("'", "").replace(" or ", ", ").split(", ")
        hint = did_you_mean(value, choices)
    if kind == "int_type" and isinstance(value, float | str):
        hint = "; write it without quotes or decimal point"
    elif kind == "float_type":
        hint = "; write it without quotes"
    return f"expected {expected}, got {shown(value)}{hint}"


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

    def add(self, place: Place, what: str) -> None:
        """Note one problem: `what` reads ``expected …, got …; what to do``."""
        first = self.order.get(str(place[0]), len(self.order)) if place else -1
        indices = (part for part in place if isinstance(part, int))
        text = f"{place_text(place)}: {what}" if place else what
        self._found.append(((first, *indices), text))

    def validated(self, model: type[_M], raw: object, place: Place) -> _M | None:
        """`raw` as a `model`; None, with its problems noted, if it is not one."""
        try:
            return model.model_validate(raw)
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                self.add(place + _reached(raw, detail["loc"]), _what(model, detail))
            return None

    @property
    def found(self) -> tuple[str, ...]:
        """All problems, each once, in file order."""
        ordered = sorted(self._found, key=lambda problem: problem[0])
        return tuple(dict.fromkeys(text for _, text in ordered))

    def raise_any(self) -> None:
        """Raise one ConfigError with all problems, if there are any."""
        if self._found:
            raise ConfigError(self.source, self.found)
