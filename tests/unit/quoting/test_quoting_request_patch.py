"""A JSON Patch on a request: names of elements, spaces and spare parts, and faults at the operation that brings them in."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from services.quoting.change_errors import PatchTestFailed
from services.quoting.errors import RequestUnanswerable
from services.quoting.service.changed_request import changed
from services.quoting.service.request_patch import OF_THE_PRESCRIPTION, patched
from shared_schemas.json_patch import PatchOperation
from shared_schemas.prescription import Prescription
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_life import RequoteRequest
from shared_schemas.quote_request import QuoteRequest

FACE = {"radius_mm": None, "clear_diameter_mm": 9.0}


def lens(*names: str, **more: Any) -> dict[str, Any]:
    elements = [
        {"name": name, "glass": "N-BK7", "diameter_mm": 10.0, "centre_thickness_mm": 3.0, "front": FACE, "back": FACE}
        for name in names
    ]
    spaces = [{"gap_mm": 1.0 + place} for place in range(len(names) - 1)]
    request = {"prescription": {"title": "t", "elements": elements, "spaces": spaces}, "quantities": [5], **more}
    return QuoteRequest.model_validate(request).model_dump(mode="json")


def after(before: dict[str, Any], *operations: dict[str, Any], **changes: Any) -> QuoteRequest:
    asked = RequoteRequest.model_validate({"changes": changes, "patch": operations})
    return changed(before, changes=asked.changes, patch=asked.patch).request


def faults(before: dict[str, Any], *operations: dict[str, Any], **changes: Any) -> list[ProblemDetail]:
    with pytest.raises(RequestUnanswerable) as refused:
        after(before, *operations, **changes)
    return list(refused.value.errors)


def put(path: str, value: Any) -> dict[str, Any]:
    return {"op": "replace", "path": path, "value": value}


def test_a_step_into_the_elements_is_a_name_and_a_space_is_between_two() -> None:
    request = after(
        lens("L1", "L2", "L3", spares=[{"part": "L3", "pieces": 2}]),
        put("/prescription/elements/L2/front/form", "3/2(0.5)"),
        put("/prescription/spaces/L2-L3/gap_mm", 7.5),
        put("/spares/L3/pieces", 4),
    )
    assert [element.front.form for element in request.prescription.elements] == [None, "3/2(0.5)", None]
    assert [space.gap_mm for space in request.prescription.spaces] == [1.0, 7.5]
    assert request.spares[0].pieces == 4


def test_a_path_that_begins_within_the_prescription_is_below_it() -> None:
    assert not set(Prescription.model_fields) & set(QuoteRequest.model_fields), "or a path would have two meanings"
    assert set(Prescription.model_fields) == OF_THE_PRESCRIPTION
    request = after(
        lens("L1", "L2"), put("/elements/L2/glass", "N-SF5"), put("/spaces/L1-L2", {"cemented": True}), put("/title", "u")
    )
    assert (request.prescription.elements[1].glass, request.prescription.spaces[0].cemented) == ("N-SF5", True)
    assert request.prescription.title == "u"


def test_a_number_is_a_position_unless_an_element_is_called_so() -> None:
    by_position = after(lens("A", "B"), put("/elements/1/glass", "N-SF5")).prescription.elements
    assert [one.glass for one in by_position] == ["N-BK7", "N-SF5"]
    by_name = after(lens("1", "0"), put("/elements/1/glass", "N-SF5")).prescription.elements
    assert [one.glass for one in by_name] == ["N-SF5", "N-BK7"]


def test_each_operation_sees_what_those_before_it_left() -> None:
    new = lens("N")["prescription"]["elements"][0]
    request = after(
        lens("L1", "L2"),
        {"op": "add", "path": "/elements/L2", "value": new},
        {"op": "add", "path": "/spaces/L1-N", "value": {"gap_mm": 0.5}},
        put("/elements/L2/name", "L3"),
        put("/spaces/N-L3/gap_mm", 9.0),
        {"op": "move", "from": "/elements/N", "path": "/elements/-"},
    )
    assert [one.name for one in request.prescription.elements] == ["L1", "L3", "N"]
    assert [one.gap_mm for one in request.prescription.spaces] == [0.5, 9.0]


@pytest.mark.parametrize(
    ("operation", "pointer", "reason", "remedy"),
    [
        (put("/elements/L22/glass", "N-SF5"), "/patch/1/path", "nothing is called L22", "write L2"),
        (put("/spaces/L2-L1/gap_mm", 1.0), "/patch/1/path", "nothing is called L2-L1", "write L1-L2"),
        (put("/elements/L2/frnt/form", "3/1"), "/patch/1/path", "there is no frnt in /elements/L2", "write front"),
        (put("/elements/7/glass", "N-SF5"), "/patch/1/path", "there is no 7 in /elements", "a name or position that is there"),
        ({"op": "remove", "path": "/elements/L2/front/asphere/4"}, "/patch/1/path", "there is no 4 in /elements/L2/front/asphere", None),
        ({"op": "copy", "from": "/elements/L9/front", "path": "/elements/L2/front"}, "/patch/1/from", "nothing is called L9", None),
        (put("/elements/L2/front/form", 7), "/patch/1/value", "", None),
        (put("/elements/L2/front", {"radius_mm": "x", "clear_diameter_mm": 9.0}), "/patch/1/value/radius_mm", "", None),
        ({"op": "add", "path": "/elements/L2/front/fomr", "value": "3/1"}, "/patch/1/path", "there is no such field", None),
        ({"op": "remove", "path": "/elements/L1"}, "/patch", "with it, at /prescription/spaces", None),
    ],
)  # fmt: skip
def test_a_fault_is_told_at_the_operation_that_brings_it_in(
    operation: dict[str, Any], pointer: str, reason: str, remedy: str | None
) -> None:
    found = faults(lens("L1", "L2"), put("/title", "u"), operation)
    assert pointer in [one.pointer for one in found]
    assert any(reason in one.reason for one in found)
    assert remedy is None or remedy in (found[0].remedy or "")


def test_every_operation_that_cannot_be_is_told_at_once() -> None:
    found = faults(lens("L1", "L2"), put("/elements/K/glass", "x"), put("/title", "u"), put("/nothing", 1))
    assert [one.pointer for one in found] == ["/patch/0/path", "/patch/2/path"]


def test_a_test_that_fails_names_what_is_there_and_what_was_expected() -> None:
    before = lens("L1", "L2")
    with pytest.raises(PatchTestFailed) as failed:
        after(before, put("/title", "u"), {"op": "test", "path": "/elements/L2/glass", "value": "N-SF5"})
    (detail,) = failed.value.errors
    assert (detail.pointer, detail.figure, detail.limit) == ("/patch/1/value", "N-BK7", "N-SF5")
    assert before == lens("L1", "L2")
    with pytest.raises(PatchTestFailed, match="nothing stands at"):
        after(before, {"op": "test", "path": "/elements/L2/asphere/4", "value": 1.0})


def test_changes_are_made_before_the_patch() -> None:
    request = after(lens("L1"), put("/quantities/1", 30), quantities=[10, 20])
    assert request.quantities == (10, 30)
    assert [one.pointer for one in faults(lens("L1"), put("/title", "u"), quantities=[0])] == ["/changes/quantities/0"]


def test_spaces_of_one_name_are_told_apart_by_position_only() -> None:
    found = faults(lens("A", "B-A", "B", "A-B"), put("/spaces/B-A-B/gap_mm", 2.0))
    assert (found[0].reason, found[0].remedy) == ("B-A-B names more than one", "a position, counted from 0")


def test_copies_of_copies_end_before_they_fill_the_memory() -> None:
    doubling = [{"op": "copy", "from": "", "path": f"/{letter}"} for letter in "abcdefghijklmnopqrstuvwx"]
    found = faults(lens("L1"), *doubling)
    assert any("more values" in one.reason for one in found)


@pytest.mark.parametrize(
    ("operation", "pointer"),
    [
        ({"op": "add", "path": "/title"}, ("patch", 0, "value")),
        ({"op": "move", "path": "/title"}, ("patch", 0, "from")),
        ({"op": "set", "path": "/title", "value": "u"}, ("patch", 0, "op")),
        ({"op": "remove", "path": "title"}, ("patch", 0, "path")),
        ({"op": "replace", "path": "/rate_revision", "value": 3}, ("patch", 0, "path")),
    ],
)
def test_what_is_no_operation_is_told_at_the_door(operation: dict[str, Any], pointer: tuple[Any, ...]) -> None:
    with pytest.raises(ValidationError) as refused:
        RequoteRequest.model_validate({"patch": [operation]})
    assert pointer in [error["loc"] for error in refused.value.errors()]


def test_a_requote_without_a_patch_is_written_as_it_ever_was() -> None:
    assert RequoteRequest(changes={"quantities": [7]}).model_dump_json() == '{"changes":{"quantities":[7]},"rate_revision":null}'


TOKENS = st.sampled_from(
    ["prescription", "elements", "L1", "L2", "0", "1", "-", "front", "form", "spaces", "L1-L2", "quantities", "00", ""]
)
PATHS = st.lists(TOKENS, max_size=5).map(lambda steps: "".join(f"/{step}" for step in steps))
VALUES = st.sampled_from([None, 1, "x", [], {}, {"name": "L2"}, [{"name": 3}]])
OPERATIONS = st.builds(
    lambda op, path, come, value: PatchOperation.model_validate({"op": op, "path": path, "from": come, "value": value}),
    st.sampled_from(["add", "remove", "replace", "move", "copy", "test"]), PATHS, PATHS, VALUES,
)  # fmt: skip


@given(st.lists(OPERATIONS, max_size=5))
def test_whatever_is_sent_is_done_or_refused_in_words(operations: list[PatchOperation]) -> None:
    before = lens("L1", "L2")
    told: tuple[ProblemDetail, ...] = ()
    try:
        patched(before, [one.document() for one in operations])
    except (RequestUnanswerable, PatchTestFailed) as refused:
        told = refused.errors
    assert all(one.reason and one.pointer.startswith("/patch/") for one in told)
    assert before == lens("L1", "L2")
