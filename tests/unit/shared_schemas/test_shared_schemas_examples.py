"""Every contract that a body or an answer is has an example, in `shared_schemas/examples` under its name, and the example is one."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from pydantic import BaseModel
from referencing import Registry, Resource

import shared_schemas
from services.chassis.described_document import operations_of
from shared_schemas.base import Contract
from tests.architecture.test_architecture_operations import document

FOLDER = Path(shared_schemas.__file__).parent / "examples"
FILES = sorted(FOLDER.glob("*.json"))
MOST_BYTES = 16_000
"""An example is there to be looked at."""


def contracts(kind: type[BaseModel] = Contract) -> Iterator[type[BaseModel]]:
    """Every contract that the suite has."""
    for below in kind.__subclasses__():
        yield below
        yield from contracts(below)


def named_in(schema: dict[str, Any]) -> Iterator[str]:
    """The contracts that a body or an answer may be."""
    if "$ref" in schema:
        yield schema["$ref"].rpartition("/")[2]
    for several in ("anyOf", "oneOf"):
        for one in schema.get(several, ()):
            yield from named_in(one)


@cache
def validator_of(name: str) -> Draft202012Validator:
    """Who holds something against the schema that the description has under this name."""
    whole = {"$schema": "https://json-schema.org/draft/2020-12/schema", **document()}
    registry: Registry[Any] = Registry().with_resource("urn:document", Resource.from_contents(whole))
    return Draft202012Validator({"$ref": f"urn:document#/components/schemas/{name}"}, registry=registry)


def test_every_body_and_every_answer_has_an_example() -> None:
    wanted: set[str] = set()
    for _, operation in operations_of(document()):
        for part in (operation.get("requestBody", {}), *operation["responses"].values()):
            for content in part.get("content", {}).values():
                wanted.update(named_in(content.get("schema", {})))
    without = {name for name in wanted if "examples" not in document()["components"]["schemas"][name]}
    assert without == set(), "put one that is valid into shared_schemas/examples/NAME.json"


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_an_example_is_what_the_schema_and_the_contract_say(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    example = json.loads(text)
    assert document()["components"]["schemas"][file.stem]["examples"] == [example]
    assert [fault.message for fault in validator_of(file.stem).iter_errors(example)] == []
    (contract,) = {kind for kind in contracts() if kind.__name__ == file.stem}
    contract.model_validate_json(text)
    assert len(json.dumps(example)) <= MOST_BYTES


def test_an_example_that_is_wrong_is_noticed() -> None:
    assert not validator_of("PromiseRequest").is_valid({"quantity": "five"})
    assert not validator_of("Alive").is_valid({"status": "asleep", "version": "1"})
