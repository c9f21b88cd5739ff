"""What the API says of itself: OpenAPI 3.1 with an id for every operation, one schema for every contract, and problems as such."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from importlib import import_module
from threading import Lock

import fastapi._compat.v2 as fastapi_models
import fastapi.openapi.utils as fastapi_document
from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute

from services.chassis.described_document import Document, as_ours
from services.chassis.problems import PROBLEM_TYPES
from shared_schemas.problem import Problem

HEALTH = {"name": "health", "description": "Whether a process lives and can work, its figures, and what its problems mean."}


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
                    made.append(as_ours(make()))
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
