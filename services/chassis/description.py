"""What the API says of itself: OpenAPI 3.1 with an id for every operation, one schema for every contract, and problems as such."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from importlib import import_module
from threading import Lock
from typing import Any

import fastapi._compat.v2 as fastapi_models
import fastapi.openapi.utils as fastapi_document
from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute

from services.chassis.problems import MEDIA_TYPE, PROBLEM_TYPES
from services.chassis.version import VERSION
from shared_schemas.problem import Problem

Document = dict[str, Any]
METHODS = ("get", "put", "post", "delete", "patch")
REF = "#/components/schemas/"
PROBLEM = {"schema": {"$ref": REF + "Problem"}}
READINESS = {"schema": {"$ref": REF + "Readiness"}}
"""What /readyz answers, also where it cannot work."""

IGNORED_HEADERS = ("accept", "content-type")
"""Said by the media types of bodies and answers, and by no parameter (OpenAPI 3.1, 4.8.12.1)."""
HEALTH = {"name": "health", "description": "Whether a process lives and can work, its figures, and what its problems mean."}
UNUSED = ("HTTPValidationError", "ValidationError")
"""What FastAPI would say of a request that is invalid; ours is a problem document."""


def operation_id(route: APIRoute) -> str:
    """What generated clients call an operation: the name of the function that answers it, which no other may have."""
    return route.name


DESCRIBED: Document = {
    "title": "Blankwright",
    "version": "1",
    "summary": "Quotes that a shop can sign, the estimates behind them, and the rates they rest on.",
    "responses": {422: {"description": PROBLEM_TYPES["invalid"][1], "model": Problem}},
    "generate_unique_id_function": operation_id,
    "separate_input_output_schemas": False,
}
"""What an application is made with. A field of an answer that has a default may be missing in an older document, so what is asked for and
what is answered have one schema."""


def tag_of(service: str) -> dict[str, str]:
    """The name under which the routes of a service stand together, and what its routes are for, as its module says."""
    said = import_module(f"services.{service}.api").__doc__ or ""
    return {"name": service, "description": said.strip().splitlines()[0]}


def describe(app: FastAPI, services: Iterable[str], of_every_process: Iterable[APIRouter]) -> None:
    """Let `app` describe `services`: those that it serves, or all of a fleet, which has one document."""
    described = tuple(services)
    whole = app
    if set(described) != set(app.state.resources.settings.services):
        whole = FastAPI(**DESCRIBED)
        for name in described:
            whole.include_router(import_module(f"services.{name}.api").router, tags=[name])
        for router in of_every_process:
            whole.include_router(router)
    whole.openapi_tags = [*(tag_of(name) for name in described), HEALTH]
    app.openapi = _once(whole.openapi)  # type: ignore[method-assign]


def _once(make: Callable[[], Document]) -> Callable[[], Document]:
    """A document that is made when it is first asked for."""
    made: list[Document] = []
    making = Lock()

    def document() -> Document:
        with making:
            if not made:
                with models_found_by_pydantic():
                    made.append(_ours(make()))
        return made[0]

    return document


@contextmanager
def models_found_by_pydantic() -> Iterator[None]:
    """Leave it to pydantic to find the models inside of models.

    FastAPI looks for them as well, three times, and builds a validator for every field it comes by: two thirds of the time that the
    document takes. What it finds changes nothing in the document, as pydantic goes by the same references.
    """
    modules = (fastapi_document, fastapi_models)
    looking = [module.get_flat_models_from_fields for module in modules]
    for module in modules:
        module.get_flat_models_from_fields = lambda fields, known_models: set()  # type: ignore[attr-defined]
    try:
        yield
    finally:
        for module, search in zip(modules, looking, strict=True):
            module.get_flat_models_from_fields = search  # type: ignore[attr-defined]


def operations_of(document: Document) -> Iterator[tuple[str, Document]]:
    """Every operation of a document, under its method and path."""
    for path, methods in document["paths"].items():
        yield from ((f"{name.upper()} {path}", methods[name]) for name in METHODS if name in methods)


def _ours(document: Document) -> Document:
    """The document as FastAPI makes it, with what it cannot know."""
    document["info"]["x-release"] = VERSION
    schemas = document["components"]["schemas"]
    for _, operation in operations_of(document):
        for body in operation.get("requestBody", {}).get("content", {}).values():
            body["schema"] = _named(body["schema"], schemas)
        of_its_own = [
            one for one in operation.get("parameters", ()) if not (one["in"] == "header" and one["name"] in IGNORED_HEADERS)
        ]
        if "parameters" in operation:
            operation["parameters"] = of_its_own
        for status, answer in operation["responses"].items():
            for kind in answer.get("content", {}).values():
                # What FastAPI says of an event stream is OpenAPI 3.2; this document is 3.1, which has no word for one event.
                kind.pop("itemSchema", None)
            if status.startswith(("4", "5")) and answer.get("content", {}).get("application/json") != READINESS:
                answer["content"] = {MEDIA_TYPE: PROBLEM}
    for unused in UNUSED:
        schemas.pop(unused, None)
    return document


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
