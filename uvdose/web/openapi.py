"""The OpenAPI document, made of the table of addresses and of the message types themselves: it cannot differ."""

from __future__ import annotations

from typing import Any

import msgspec

from ..messages import EventDoc, Refused
from .access import COOKIE
from .routes import ADDRESSES, Address, Needs, Parameter

_NEEDS: dict[Needs, str] = {
    "open": "Open to anybody.", "view": "For whoever may look.", "act": "For whoever may act.",
    "home": "For the commands of this home alone.",
}
_REF = "#/components/schemas/{name}"
_COOKIE_WORDS = "of a paired phone; the one that pairing sets has more letters to its name, of this home alone"
_ABOUT = (
    "What the commands use, and the page on the phone. Dose is in `unit`, keys that end in `_s` are seconds, those in"
    " `_utc` are ISO 8601 in UTC. Keys may be added to answers; those that are there stay."
)


def document(version: str) -> dict[str, Any]:
    """OpenAPI 3.1. version: of the program."""
    kinds: set[type[msgspec.Struct]] = {EventDoc, Refused}
    kinds |= {kind for a in ADDRESSES for kind in (a.takes, a.gives) if kind is not None}
    ordered = sorted(kinds, key=lambda kind: kind.__name__)
    schemas, components = msgspec.json.schema_components(ordered, ref_template=_REF)
    refs = {kind: schema for kind, schema in zip(ordered, schemas, strict=True)}
    paths: dict[str, dict[str, Any]] = {}
    for address in ADDRESSES:
        paths.setdefault(address.full_path, {})[address.method.lower()] = _operation(address, refs)
    return {
        "openapi": "3.1.0",
        "info": {"title": "uvdose", "version": version, "description": _ABOUT},
        "servers": [{"url": "/"}],
        "security": [{"home": []}, {"phone": []}],
        "paths": paths,
        "components": {
            "schemas": _tuples(components),
            "responses": {
                "Refused": {
                    "description": "Refused, with the reason and what to do: 400 the request is wrong, 401 without a"
                                   " token, 403 not let, 404 or 405 no such address, 409 not possible now",
                    "content": {"application/json": {"schema": refs[Refused]}},
                },
            },
            "securitySchemes": {
                "home": {"type": "http", "scheme": "bearer", "description": "the token of the home's runtime.json"},
                "phone": {"type": "apiKey", "in": "cookie", "name": COOKIE, "description": _COOKIE_WORDS},
            },
        },
    }


def _tuples(schema: Any) -> Any:
    """Tuples of one kind as arrays of a fixed length, which says the same and which more tools understand."""
    if isinstance(schema, list):
        return [_tuples(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    told = {key: _tuples(value) for key, value in schema.items()}
    kinds = told.get("prefixItems")
    if isinstance(kinds, list) and all(kind == kinds[0] for kind in kinds):
        del told["prefixItems"]
        told["items"] = kinds[0]
    return told


def _operation(address: Address, refs: dict[type[msgspec.Struct], dict[str, Any]]) -> dict[str, Any]:
    refused = {"$ref": "#/components/responses/Refused"}
    told: dict[str, Any] = {
        "operationId": address.name,
        "summary": address.summary,
        "description": _about(address),
        "responses": {"200": _answer(address, refs), "4XX": refused, "5XX": refused},
    }
    if address.needs == "open":
        told["security"] = []
    if address.parameters:
        told["parameters"] = [_parameter(p) for p in address.parameters]
    if address.takes is not None:
        content = {"application/json": {"schema": refs[address.takes]}}
        told["requestBody"] = {"required": not _all_optional(address.takes), "content": content}
    return told


def _about(address: Address) -> str:
    kind = address.takes
    said = " ".join((kind.__doc__ or "").split()) if kind is not None else ""
    return f"{said} {_NEEDS[address.needs]}".strip()


def _answer(address: Address, refs: dict[type[msgspec.Struct], dict[str, Any]]) -> dict[str, Any]:
    if address.stream:
        words = "a stream that does not end"
        return {"description": words, "content": {address.stream: {"schema": {"type": "string"}}}}
    schema = refs[address.gives] if address.gives is not None else {"type": "object"}
    if address.many:
        schema = {"type": "array", "items": schema}
    return {"description": address.summary, "content": {"application/json": {"schema": schema}}}


def _parameter(parameter: Parameter) -> dict[str, Any]:
    return {
        "name": parameter.name, "in": parameter.place, "required": parameter.place == "path",
        "description": parameter.words, "schema": parameter.schema,
    }


def _all_optional(kind: type[msgspec.Struct]) -> bool:
    return all(not field.required for field in msgspec.structs.fields(kind))
