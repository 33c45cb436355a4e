"""JSON Schema of a setup file, for editors that complete and check while typing."""

from __future__ import annotations

from typing import Any

from planish.setup.die import whole_section
from planish.setup.motions.known import MOTIONS
from planish.setup.parts import catalogue
from planish.setup.resolve import OLDEST_SCHEMA, SCHEMA
from planish.setup.root import setup_model


def json_schema() -> dict[str, object]:
    """Return the JSON Schema (draft 2020-12) of a setup file.

    It describes the file as written: text quantities with their units and
    limits in words, catalogue parts by name, and keys that a part or a default
    may supply as optional.
    """
    schema: dict[str, Any] = setup_model().model_json_schema(mode="validation")
    definitions = schema["$defs"]
    definitions["DieSection"] = whole_section().model_json_schema(mode="validation")
    for section, model in (
        ("wafer", "WaferSection"),
        ("head", "HeadSection"),
        ("pad", "PadSection"),
        ("conditioner", "ConditionerSection"),
        ("slurry", "SlurrySection"),
        *(("polisher", kind.model.__name__) for kind in MOTIONS),
    ):
        table = definitions[model]
        table["properties"] = {
            "part": {
                "enum": list(catalogue(section)),
                "description": "catalogue part; keys beside it override it",
            },
            **table["properties"],
        }
    films = list(catalogue("film"))
    if films:
        removal = definitions["RemovalSection"]
        removal["properties"]["part"] = {
            "enum": films,
            "description": "film of the catalogue; keys beside it override it",
        }
    for name, table in definitions.items():
        if name not in (
            "StepSection",
            "CleanSection",
            "CleanStepSection",
            "RecipeSection",
            "ZoneSection",
            "BearingZone",
            "FilmSection",
            "DieSection",
            "FittedSection",
            "FittedFileSection",
            "FittedValueSection",
        ):
            table.pop("required", None)
    for owner, key in (("HeadSection", "ring"), ("PadSection", "sub"), ("PadSection", "grooves")):
        options = definitions[owner]["properties"][key]["anyOf"]
        definitions[owner]["properties"][key]["anyOf"] = [
            {"const": "none"} if option.get("type") == "null" else option for option in options
        ]
    for table in definitions.values():
        for key, entry in table.get("properties", {}).items():
            table["properties"][key] = _without_null(entry)
    schema["properties"]["conditioner"] = {
        "anyOf": [{"$ref": "#/$defs/ConditionerSection"}, {"const": "none"}],
        "description": "the conditioner; leave it out for none",
    }
    for section in ("clean", "cost", "die", "fitted"):
        schema["properties"][section] = _without_null(schema["properties"][section])
    polisher = schema["properties"]["polisher"]
    polisher.pop("discriminator", None)  # with a part, the motion need not be written
    polisher["anyOf"] = polisher.pop("oneOf")
    schema["properties"] = {
        "schema": {
            "type": "integer",
            "minimum": OLDEST_SCHEMA,
            "maximum": SCHEMA,
            "description": f"version of the file's keys; {OLDEST_SCHEMA} where not given",
        },
        **schema["properties"],
    }
    schema["required"] = ["wafer", "polisher", "recipe"]
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "planish setup"
    _tell(schema)
    return schema


def _tell(node: Any) -> None:
    """Join the unit, limits and typical range of each quantity to its description, for editors to show."""
    if isinstance(node, dict):
        words = node.pop("$comment", None)
        if words is not None:
            node["description"] = f"{node['description']}; {words}" if "description" in node else words
        for value in node.values():
            _tell(value)
    elif isinstance(node, list):
        for value in node:
            _tell(value)


def _without_null(entry: dict[str, Any]) -> dict[str, Any]:
    """Drop the null that stands for "not given": TOML has none."""
    options = entry.get("anyOf")
    if options is None or not any(option.get("type") == "null" for option in options):
        return entry
    kept = [option for option in options if option.get("type") != "null"]
    rest = {key: value for key, value in entry.items() if key not in ("anyOf", "default")}
    return {**kept[0], **rest} if len(kept) == 1 else {"anyOf": kept, **rest}
