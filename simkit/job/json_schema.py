"""The JSON Schema (2020-12) of a job file, read as data, from the one table of its keys.

A TOML file is read as tables, lists, text and numbers; that is what the schema speaks of.  Lengths may be
plain numbers in the `unit` of the file, so their ranges are told in words; what hangs together across keys
is checked by reading the job alone.
"""

from __future__ import annotations

from typing import Any

from simkit.job.key import Key
from simkit.job.schema import VERSION, children

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def job_schema() -> dict[str, Any]:
    """Return the schema of a job file."""
    return {
        "$schema": DIALECT,
        "$id": f"urn:simkit:job:{VERSION}",
        "title": f"A job file of simkit, version {VERSION}",
        **_table(""),
        "$defs": {
            "length": {
                "description": 'A number in the unit of the file, or text with a unit of its own: "1/4 in".',
                "type": ["number", "string"],
            }
        },
    }


def _table(parent: str) -> dict[str, Any]:
    keys = children(parent)
    required = [key.name for key in keys if key.required]
    return {
        "type": "object",
        "properties": {key.name: _described(key) for key in keys},
        **({"required": required} if required else {}),
        "additionalProperties": False,
    }


def _described(key: Key) -> dict[str, Any]:
    schema = {"description": f"{key.help} {key.expected[0].upper()}{key.expected[1:]}.", **_value(key)}
    if key.default not in (None, "", ()):
        schema["default"] = list(key.default) if isinstance(key.default, tuple) else key.default
    return schema


def _value(key: Key) -> dict[str, Any]:
    length = {"$ref": "#/$defs/length"}
    number = {"type": "number", "minimum": key.low, "maximum": key.high}
    text = {"type": "string"}
    simple = {
        "text": text,
        "path": text,
        "length": length,
        "number": number,
        "flag": {"type": "boolean"},
        "count": {"type": "integer", "minimum": int(key.low), "maximum": int(key.high)},
        "choice": {"enum": list(key.choices)},
        "texts": {"type": "array", "items": text},
        "paths": {"type": "array", "items": text, "minItems": 1},
        "lengths": _list(length, key.size),
        "numbers": _list(number, key.size),
        "points": {"type": "array", "items": _list(length, key.size), "minItems": 1},
    }
    if key.kind in simple:
        return simple[key.kind]
    if key.kind == "named lengths":
        return {
            "type": "object",
            "properties": {name: _list(length, key.size) for name in key.choices},
            "additionalProperties": False,
        }
    table = _table(key.inside)
    if key.kind == "tables":
        return {"type": "array", "items": table}
    if key.kind == "numbered tables":
        return {
            "type": "object",
            "patternProperties": {"^[0-9]+$": table},
            "additionalProperties": False,
            "minProperties": 1,
        }
    return table


def _list(item: dict[str, Any], size: int) -> dict[str, Any]:
    return {"type": "array", "items": item, "minItems": size or 1, **({"maxItems": size} if size else {})}
