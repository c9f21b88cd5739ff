"""Every operation of a job has an id of its own, that stays when others come or go before it."""

from __future__ import annotations

from shared_schemas.operations import Operation, Route, operation_ids


def operation(name: str, **changes: object) -> Operation:
    figures = {"work_centre": "bench", "setup_min": 1.0, "batch_size": 1, "batch_min": 1.0, "consumables": "0", "yield": 1.0}
    return Operation.model_validate({"operation": name, **figures, **changes})


def route(part: str, *operations: Operation) -> Route:
    return Route(part=part, kind="element", operations=operations)


def test_an_id_says_the_part_and_what_is_done_and_the_second_of_a_kind_is_numbered() -> None:
    ids = operation_ids(
        [route("L1", operation("polish", face="front"), operation("clean", method="wax off"), operation("clean", method="wax off"))]
    )
    assert ids == {"L1": ("L1-polish-front", "L1-clean-wax-off", "L1-clean-wax-off-2")}


def test_an_operation_that_comes_before_leaves_the_ids_of_the_others_as_they_were() -> None:
    before = operation_ids([route("L1", operation("polish", face="front"), operation("coat", face="front"))])["L1"]
    after = operation_ids([route("L1", operation("saw"), operation("polish", face="front"), operation("coat", face="front"))])["L1"]
    assert after[1:] == before


def test_parts_whose_names_differ_in_signs_alone_do_not_share_an_id() -> None:
    ids = operation_ids([route("L 1", operation("saw")), route("L-1", operation("saw"))])
    assert ids["L 1"] != ids["L-1"]
