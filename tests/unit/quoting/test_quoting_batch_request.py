"""A batch of requests is read one after the other, until enough is wrong with it."""

from __future__ import annotations

import json
from typing import Any

import pytest
from pydantic import ValidationError

from services.chassis.problems import details_of_invalid
from shared_schemas.quote_life import MOST_FAULTS, MOST_IN_A_BATCH, MOST_VALUES, QuoteBatchRequest
from tests.unit.quoting.conftest import request


def plain(**changes: Any) -> dict[str, Any]:
    return {**json.loads(request().model_dump_json(by_alias=True)), **changes}


def faults(requests: Any) -> dict[str, Any]:
    body = {"requests": requests}
    with pytest.raises(ValidationError) as caught:
        QuoteBatchRequest.model_validate(body)
    return {detail.pointer: detail for detail in details_of_invalid(caught.value.errors(), body)}


def test_a_batch_reads_what_each_request_reads() -> None:
    batch = QuoteBatchRequest.model_validate({"requests": [plain(), plain(quantities=[7])]})
    assert batch.requests == (request(), request(quantities=[7]))
    assert QuoteBatchRequest(requests=batch.requests) == batch


def test_each_fault_is_told_at_its_place_with_what_would_do() -> None:
    found = faults([plain(), plain(quantities=[0]), plain(quantities=[5, 5]), plain(currency="{usd}"), 7, plain(mass=1)])
    assert list(found) == [
        "/requests/1/quantities/0",
        "/requests/2/quantities/1",
        "/requests/3/currency",
        "/requests/4",
        "/requests/5/mass",
    ]
    assert found["/requests/2/quantities/1"].reason == "the quantity 5 is asked for twice"
    assert all(one.remedy for one in found.values())


@pytest.mark.parametrize(("size", "limit"), [(0, 1), (MOST_IN_A_BATCH + 1, MOST_IN_A_BATCH)])
def test_none_and_too_many_are_refused_by_their_number(size: int, limit: int) -> None:
    found = faults([{}] * size)
    assert list(found) == ["/requests"]
    assert found["/requests"].limit == limit


def test_a_body_of_nothing_but_faults_is_not_told_in_whole() -> None:
    assert len(faults([{}] * MOST_IN_A_BATCH)) == MOST_FAULTS
    found = faults([plain(quantities=["a"] * MOST_VALUES)])
    assert list(found) == ["/requests/0"]
    assert found["/requests/0"].limit == MOST_VALUES


@pytest.mark.parametrize("requests", [None, {}, "text", 7])
def test_what_is_no_list_is_said_to_be_none(requests: Any) -> None:
    assert list(faults(requests)) == ["/requests"]
