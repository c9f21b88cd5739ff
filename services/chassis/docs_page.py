"""The description of the API: one OpenAPI document, and a page made of it here, which needs no script and nothing from elsewhere."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from threading import Lock
from typing import Any

from fastapi import FastAPI, Response
from fastapi.responses import HTMLResponse
from markupsafe import Markup, escape

from services.chassis.pages import page_templates

REF = "#/components/schemas/"
METHODS = ("get", "put", "post", "delete", "patch")
LIMITS = {
    "minimum": "≥ {}", "exclusiveMinimum": "> {}", "maximum": "≤ {}", "exclusiveMaximum": "< {}", "minLength": "at least {} signs",
    "maxLength": "at most {} signs", "minItems": "at least {} entries", "maxItems": "at most {} entries", "pattern": "{}",
}  # fmt: skip


@dataclass(frozen=True)
class Field:
    """A parameter, or a field of an object."""

    name: str
    kind: Markup
    needed: bool
    notes: str
    where: str = ""


@dataclass(frozen=True)
class Operation:
    """One method at one address."""

    anchor: str
    method: str
    path: str
    summary: str
    description: str
    keyed: bool
    parameters: tuple[Field, ...]
    bodies: tuple[tuple[str, Markup], ...]
    answers: tuple[tuple[str, str, Markup], ...]


@dataclass(frozen=True)
class Shape:
    """An object or another type that has a name."""

    name: str
    description: str
    fields: tuple[Field, ...]
    kind: Markup


def add_description(app: FastAPI) -> None:
    """Serve the document at `/openapi.json` and the page at `/docs`. Each is made once, in a thread: it takes seconds of a processor."""
    making = Lock()

    @cache
    def document() -> bytes:
        return json.dumps(app.openapi(), ensure_ascii=False, separators=(",", ":")).encode()

    @cache
    def page() -> str:
        return page_of(app.openapi())

    @app.get("/openapi.json", include_in_schema=False)
    def openapi() -> Response:
        with making:
            return Response(document(), media_type="application/json")

    @app.get("/docs", include_in_schema=False)
    def docs() -> HTMLResponse:
        with making:
            return HTMLResponse(page())


def page_of(document: Mapping[str, Any]) -> str:
    """The page of an OpenAPI document."""
    groups: dict[str, list[Operation]] = {}
    for tag, operation in _operations(document):
        groups.setdefault(tag, []).append(operation)
    for operations in groups.values():
        operations.sort(key=lambda one: (one.path, METHODS.index(one.method.lower())))
    schemas = document.get("components", {}).get("schemas", {})
    return page_templates(__package__).get_template("docs_page.html").render(
        info=document["info"], groups=groups, shapes=[_shape(name, schemas[name]) for name in sorted(schemas)]
    )  # fmt: skip


def kind_of(schema: Mapping[str, Any]) -> Markup:
    """A schema in a few words, with links to those that have a name."""
    if "$ref" in schema:
        name = str(schema["$ref"]).removeprefix(REF)
        return Markup('<a href="#schema-{0}">{0}</a>').format(name)
    for several in ("anyOf", "oneOf", "allOf"):
        if several in schema:
            return Markup(" or ").join(kind_of(one) for one in schema[several])
    if "const" in schema or "enum" in schema:
        return Markup(", ").join(
            Markup("<code>{}</code>").format(json.dumps(one)) for one in schema.get("enum", [schema.get("const")])
        )
    if schema.get("type") == "array":
        inner = schema.get("items") or {"anyOf": schema.get("prefixItems", [])}
        return Markup("list of {}").format(kind_of(inner))
    if isinstance(schema.get("additionalProperties"), Mapping):
        return Markup("object of {}").format(kind_of(schema["additionalProperties"]))
    kind = schema.get("type", "any")
    words = " or ".join(kind) if isinstance(kind, list) else str(kind)
    return escape(f"{words} ({schema['format']})" if "format" in schema else words)


def _notes(schema: Mapping[str, Any], description: str = "") -> str:
    limits = [words.format(schema[name]) for name, words in LIMITS.items() if name in schema]
    for one in schema.get("anyOf", ()):
        limits += [words.format(one[name]) for name, words in LIMITS.items() if name in one]
    if schema.get("default") is not None:
        limits.append(f"if left out: {json.dumps(schema['default'], ensure_ascii=False)[:80]}")
    return "; ".join(part for part in (description or schema.get("description", ""), *limits) if part)


def _operations(document: Mapping[str, Any]) -> Iterator[tuple[str, Operation]]:
    for path, methods in document["paths"].items():
        for method in METHODS:
            if method in methods:
                described = methods[method]
                yield (described.get("tags") or ["other"])[0], _operation(method, path, described)


def _operation(method: str, path: str, described: Mapping[str, Any]) -> Operation:
    parameters = (
        Field(one["name"], kind_of(one.get("schema", {})), one.get("required", False),
              _notes(one.get("schema", {}), one.get("description", "")), one["in"])
        for one in described.get("parameters", ())
    )  # fmt: skip
    bodies = described.get("requestBody", {}).get("content", {})
    return Operation(
        anchor=described.get("operationId", f"{method}{path}"),
        method=method.upper(),
        path=path,
        summary=described.get("summary", ""),
        description=described.get("description", ""),
        keyed=bool(described.get("security")),
        parameters=tuple(parameters),
        bodies=tuple((media, kind_of(one.get("schema", {}))) for media, one in bodies.items()),
        answers=tuple(_answers(described.get("responses", {}))),
    )


def _answers(responses: Mapping[str, Any]) -> Iterator[tuple[str, str, Markup]]:
    for status, one in sorted(responses.items()):
        kinds = [kind_of(content.get("schema", {})) for content in one.get("content", {}).values()]
        yield status, one.get("description", ""), Markup(" or ").join(kinds)


def _shape(name: str, schema: Mapping[str, Any]) -> Shape:
    needed = schema.get("required", ())
    fields = tuple(
        Field(field, kind_of(one), field in needed, _notes(one)) for field, one in schema.get("properties", {}).items()
    )  # fmt: skip
    return Shape(name, schema.get("description", ""), fields, kind_of(schema))
