"""JSON Schema of the site file, for editors that check and complete TOML."""

from typing import Any

from linkfit.site.entries import SiteFile
from linkfit.site.kinds import KINDS


def site_schema() -> dict[str, Any]:
    """The site file's JSON Schema (draft 2020-12), made from the models that read it.

    Returns
    -------
    schema : dict
        Ready for ``json.dump``. It knows keys, types, units and the kinds; contradictions
        between keys are found by `read_site` alone.
    """
    schema = SiteFile.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "linkfit site file"
    kind = schema["$defs"]["ServiceEntry"]["properties"]["kind"]
    kind["enum"] = list(KINDS)
    return schema
