"""The JSON Schema knows every table, key and kind that the reader knows."""

import json
import re
import tomllib

from linkfit.site.entries import SiteFile
from linkfit.site.kinds import KINDS
from linkfit.site.schema import site_schema
from linkfit.site.starter import starter_text


def resolved(schema, part):
    """`part` with references followed and the null of optional keys dropped."""
    if "$ref" in part:
        return resolved(schema, schema["$defs"][part["$ref"].rsplit("/", 1)[1]])
    choices = [c for c in part.get("anyOf", []) if c.get("type") != "null"]
    return resolved(schema, choices[0]) if len(choices) == 1 else part


def check(schema, part, value, place="file"):
    """A small validator: tables, arrays, keys, enums and patterns."""
    part = resolved(schema, part)
    if "anyOf" in part:
        return
    if isinstance(value, dict):
        assert part["additionalProperties"] is False, place
        assert set(value) <= set(part["properties"]), place
        assert set(part.get("required", [])) <= set(value), place
        for key, item in value.items():
            check(schema, part["properties"][key], item, f"{place}.{key}")
    elif isinstance(value, list):
        assert part["type"] == "array", place
        for item in value:
            check(schema, part["items"], item, place)
    elif isinstance(value, str):
        assert part["type"] == "string", place
        assert value in part.get("enum", [value]), place
        assert re.search(part.get("pattern", ""), value), place


def test_the_schema_is_json_and_names_its_draft():
    schema = json.loads(json.dumps(site_schema()))
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert set(schema["properties"]) == set(SiteFile.model_fields)
    assert schema["required"] == ["site"]
    assert schema["additionalProperties"] is False


def test_the_schema_lists_the_kinds():
    kind = site_schema()["$defs"]["ServiceEntry"]["properties"]["kind"]
    assert kind["enum"] == list(KINDS)


def test_a_starter_file_fits_the_schema():
    schema = site_schema()
    text = re.sub(r"(?m)^# (\w+ = |\[\[?)", r"\1", starter_text(list(KINDS)))
    check(schema, schema, tomllib.loads(text))
