"""What FastAPI's description of the routes is made into: problems as such, every contract under its name, with an example, for generators."""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib.resources import files
from typing import Any

from services.chassis.problems import MEDIA_TYPE
from services.chassis.version import VERSION

Document = dict[str, Any]
METHODS = ("get", "put", "post", "delete", "patch")
JSON = "application/json"
REF = "#/components/schemas/"
PROBLEM = {"schema": {"$ref": REF + "Problem"}}
READINESS = {"schema": {"$ref": REF + "Readiness"}}
"""What /readyz answers, also where it cannot work."""

HEADERS_OF_BODIES = (("header", "accept"), ("header", "content-type"))
"""Said by the media types of bodies and answers, and by no parameter (OpenAPI 3.1, 4.8.12.1)."""

UNUSED = ("HTTPValidationError", "ValidationError")
"""What FastAPI would say of a request that is invalid; ours is a problem document."""


def operations_of(document: Document) -> Iterator[tuple[str, Document]]:
    """Every operation of a document, under its method and path."""
    for path, methods in document["paths"].items():
        yield from ((f"{name.upper()} {path}", methods[name]) for name in METHODS if name in methods)


def as_ours(document: Document) -> Document:
    """The document as FastAPI makes it, with what it cannot know."""
    document["info"]["x-release"] = VERSION
    schemas = document["components"]["schemas"]
    for unused in UNUSED:
        schemas.pop(unused, None)
    for _, operation in operations_of(document):
        _as_ours(operation, schemas)
    for schema in schemas.values():
        _even_tuples(schema)
    for name, example in _examples(schemas):
        schemas[name]["examples"] = [example]
    return document


def _as_ours(operation: Document, schemas: Document) -> None:
    for kind, body in operation.get("requestBody", {}).get("content", {}).items():
        body["schema"] = _named(body["schema"], schemas)
        if not kind.endswith("json") and body["schema"] == {"type": "string"}:
            body["schema"] = {"type": "string", "format": "binary"}  # sent as it is; generators take a file for it
    if "parameters" in operation:
        operation["parameters"] = [one for one in operation["parameters"] if (one["in"], one["name"]) not in HEADERS_OF_BODIES]
    for status, answer in operation["responses"].items():
        for kind in answer.get("content", {}).values():
            # What FastAPI says of an event stream is OpenAPI 3.2; this document is 3.1, which has no word for one event.
            kind.pop("itemSchema", None)
        if status.startswith(("4", "5")) and answer.get("content", {}).get(JSON) != READINESS:
            answer["content"] = {MEDIA_TYPE: PROBLEM}


def _named(schema: Document, schemas: Document) -> Document:
    """A reference to the schema of a contract that a route reads itself, which is put beside the others under its name."""
    if "title" not in schema or "properties" not in schema:
        return schema
    inner = schema.pop("$defs", {})
    for name, one in {**inner, schema["title"]: schema}.items():
        schemas.setdefault(name, _referring(one))
    return {"$ref": REF + str(schema["title"])}


def _referring(part: Any) -> Any:
    """A part of a schema whose references lead to the schemas of the document."""
    if isinstance(part, dict):
        return {
            name: str(inner).replace("#/$defs/", REF) if name == "$ref" else _referring(inner) for name, inner in part.items()
        }  # fmt: skip
    return [_referring(inner) for inner in part] if isinstance(part, list) else part


def _even_tuples(part: Any) -> None:
    """Say of so many things of one kind that they are a list of so many, which every generator knows; few know what comes first and second."""
    if isinstance(part, dict):
        kinds = part.get("prefixItems", [])
        if kinds and all(kind == kinds[0] for kind in kinds) and part.get("minItems") == part.get("maxItems") == len(kinds):
            part["items"] = part.pop("prefixItems")[0]
        for inner in part.values():
            _even_tuples(inner)
    elif isinstance(part, list):
        for inner in part:
            _even_tuples(inner)


def _examples(schemas: Document) -> Iterator[tuple[str, Any]]:
    """An example of every contract that has a file of its name in `shared_schemas/examples`."""
    for file in files("shared_schemas").joinpath("examples").iterdir():
        name = file.name.removesuffix(".json")
        if name in schemas:
            yield name, json.loads(file.read_text(encoding="utf-8"))
