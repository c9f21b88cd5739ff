"""Published cases of JSON Patch, through our contract and our resolver with names off; see json_patch/SOURCE.md."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from services.quoting.change_errors import PatchTestFailed
from services.quoting.errors import RequestUnanswerable
from services.quoting.service.request_patch import patched
from shared_schemas.json_patch import PatchOperation

CASES = Path(__file__).parent / "json_patch"
TWICE = ("A.13 Invalid JSON Patch Document", "duplicate ops")
"""Cases about a member that is written twice in one object: read by a parser of JSON, the second is gone before anybody can see it."""


def published() -> Iterator[Any]:
    for file in ("spec_tests.json", "tests.json"):
        for place, case in enumerate(json.loads((CASES / file).read_text(encoding="utf-8"))):
            if "patch" in case and case.get("comment") not in TWICE:
                yield pytest.param(case, id=f"{file}-{place}-{case.get('comment', '')}")


def done(case: dict[str, Any]) -> Any:
    operations = [PatchOperation.model_validate(operation).document() for operation in case["patch"]]
    return patched(case["doc"], operations, by_name=False).document


@pytest.mark.parametrize("case", list(published()))
def test_a_published_case_comes_to_what_is_published(case: dict[str, Any]) -> None:
    if "error" in case:
        with pytest.raises((ValidationError, RequestUnanswerable, PatchTestFailed)):
            done(case)
    else:
        before = json.dumps(case["doc"])
        result = done(case)
        assert json.dumps(case["doc"]) == before, "a document that is patched stays as it was"
        if "expected" in case:
            assert json.dumps(result, sort_keys=True) == json.dumps(case["expected"], sort_keys=True)


def test_every_published_case_is_tried_but_the_two_that_no_parser_shows() -> None:
    assert len(list(published())) == 17 + 78 - 2
