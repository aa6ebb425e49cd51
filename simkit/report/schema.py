"""The JSON Schema (2020-12) of a result, and results as objects; both follow the types of forms.py."""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Mapping
from functools import cache
from typing import Any, Literal

from simkit.report.forms import Result, Unchecked

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_PLAIN = {str: "string", bool: "boolean", int: "integer", float: "number", type(None): "null"}


def result_schema(closed: bool = False) -> dict[str, Any]:
    """Return the schema of what --json writes: one result, or a list with one entry for each job.

    closed: keys that it does not name are errors too; for tests, since later versions may add keys.
    """
    kinds: dict[str, Any] = {}
    one, unchecked = (_schema(form, kinds, closed) for form in (Result, Unchecked))
    return {
        "$schema": DIALECT,
        "$id": "urn:simkit:result:1",
        "title": "What simkit check --json writes, version 1",
        "anyOf": [one, {"type": "array", "items": {"anyOf": [one, unchecked]}}],
        "$defs": dict(sorted(kinds.items())),
    }


def _schema(hint: Any, kinds: dict[str, Any], closed: bool) -> dict[str, Any]:
    """Return the schema of a type; dataclasses are put among `kinds` and referred to."""
    origin, inside = typing.get_origin(hint), typing.get_args(hint)
    if dataclasses.is_dataclass(hint):
        if hint.__name__ not in kinds:
            kinds[hint.__name__] = {}  # held, in case a type contains itself
            kinds[hint.__name__] = _object(hint, kinds, closed)
        return {"$ref": f"#/$defs/{hint.__name__}"}
    if hint is Any:
        return {}
    if origin is Literal:
        return {"const": inside[0]} if len(inside) == 1 else {"enum": list(inside)}
    if origin in (typing.Union, types.UnionType):
        return {"anyOf": [_schema(one, kinds, closed) for one in inside]}
    if origin is tuple and inside[-1] is Ellipsis:
        return {"type": "array", "items": _schema(inside[0], kinds, closed)}
    if origin is tuple:
        items = [_schema(one, kinds, closed) for one in inside]
        return {"type": "array", "prefixItems": items, "items": False, "minItems": len(items)}
    if origin is dict:
        return {"type": "object", "additionalProperties": _schema(inside[1], kinds, closed)}
    return {"type": _PLAIN[hint]}


def _object(form: type, kinds: dict[str, Any], closed: bool) -> dict[str, Any]:
    hints = _hints(form)
    properties = {
        field.name: {"description": field.metadata["help"], **_schema(hints[field.name], kinds, closed)}
        for field in dataclasses.fields(form)
    }
    rules = {"additionalProperties": False} if closed else {}
    return {
        "type": "object",
        "description": (form.__doc__ or "").strip(),
        "required": [field.name for field in dataclasses.fields(form) if not _is_optional(field)],
        "properties": properties,
        **rules,
    }


def _is_optional(field: dataclasses.Field) -> bool:
    """Return whether a key is left out where there is nothing to say."""
    return bool(field.metadata.get("is_optional"))


@cache
def _hints(form: type) -> dict[str, Any]:
    return typing.get_type_hints(form)


def as_object(form: type, data: Mapping[str, Any]) -> Any:
    """Return plain data as an object of one of the types of forms.py, which cannot be changed.

    Lists become tuples, tables read-only mappings; keys that the type does not name are left out.
    """
    hints = _hints(form)
    return form(
        **{
            field.name: _as(
                hints[field.name], data.get(field.name) if _is_optional(field) else data[field.name]
            )
            for field in dataclasses.fields(form)
        }
    )


def _as(hint: Any, value: Any) -> Any:
    origin, inside = typing.get_origin(hint), typing.get_args(hint)
    if value is None:
        return None
    if dataclasses.is_dataclass(hint):
        return as_object(hint, value)
    if origin in (typing.Union, types.UnionType):
        return _as(next(one for one in inside if one is not type(None)), value)
    if origin is tuple:
        each = [inside[0]] * len(value) if inside[-1] is Ellipsis else inside
        return tuple(_as(one, part) for one, part in zip(each, value, strict=True))
    if origin is dict:
        return types.MappingProxyType({key: _as(inside[1], part) for key, part in value.items()})
    return value


def as_data(value: Any) -> Any:
    """Return an object of forms.py as plain data again: dicts, lists, text, numbers, None."""
    if dataclasses.is_dataclass(value):
        return {
            field.name: as_data(getattr(value, field.name))
            for field in dataclasses.fields(value)
            if not (_is_optional(field) and getattr(value, field.name) is None)
        }
    if isinstance(value, Mapping):
        return {key: as_data(part) for key, part in value.items()}
    return [as_data(part) for part in value] if isinstance(value, tuple | list) else value
