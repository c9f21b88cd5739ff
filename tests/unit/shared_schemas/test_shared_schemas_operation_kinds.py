"""One table says what each operation is; types, rates and words agree with it."""

from __future__ import annotations

from typing import get_args

from services.rates.domain.seed import seed_rates
from shared_schemas.operation_kinds import OPERATIONS, OperationName, operation_words, operations_that
from shared_schemas.rates import TABLES


def test_the_type_names_the_operations_of_the_table_in_their_order() -> None:
    assert get_args(OperationName) == tuple(OPERATIONS)


def test_every_operation_has_a_work_centre_and_a_yield_in_the_rates_of_the_start() -> None:
    rates = seed_rates()
    of_tables = set(OPERATIONS) - {"own_work"}  # a step of the shop's own has its place and its yield in its row
    assert {operation for row in rates.work_centres for operation in row.operations} == of_tables
    assert {row.operation for row in rates.yields} == of_tables


def test_minutes_come_from_a_table_of_the_rates() -> None:
    assert {kind.minutes_from for kind in OPERATIONS.values()} <= set(TABLES)


def test_the_steps_of_assembly_are_those_whose_minutes_the_table_says_come_from_there() -> None:
    assert {row.operation for row in seed_rates().assembly} == set(operations_that(lambda kind: kind.minutes_from == "assembly"))


def test_what_keeps_lenses_on_one_block_shapes_a_face() -> None:
    assert all(kind.shapes_face for kind in OPERATIONS.values() if kind.on_block)
    assert operations_that(lambda kind: kind.on_block) == ("block", "fine_grind", "polish", "deblock")


def test_an_operation_is_called_by_its_words_and_anything_else_as_it_is_written() -> None:
    assert operation_words("fine_grind") == "fine grinding"
    assert operation_words("glass price") == "glass price"
