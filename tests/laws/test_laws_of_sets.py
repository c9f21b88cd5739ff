"""Sets of parts that the customer puts together: made and packed as for a lens, and nothing of a mount in the price."""

from __future__ import annotations

import json
from functools import cache

from shared_schemas.operations import OperationPlan
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_request import QuoteRequest
from tests.chain import alike_doublets, through_stages
from tests.laws.prices import rates

BARREL = {"material": "aluminium", "length_mm": 70.0, "outer_diameter_mm": 40.0, "engraved_characters": 6}
MOUNTING = {"engrave", "assemble", "align", "final_test"}


@cache
def quoted(*, mounted: bool, delivered: str) -> tuple[OperationPlan, QuoteBody]:
    document = json.loads(alike_doublets(quantities=(10,)).model_dump_json()) | {"delivered": delivered}
    document["prescription"]["barrel"] = BARREL if mounted else None
    _, _, operations, quote = through_stages(QuoteRequest.model_validate(document), rates())
    return operations, quote


def test_a_set_has_no_work_and_no_part_of_a_mount_and_its_parts_are_those_of_the_lens() -> None:
    (lens, _), (of_set, _) = quoted(mounted=True, delivered="lenses"), quoted(mounted=True, delivered="sets")
    assert {one.operation for one in lens.routes[-1].operations} >= MOUNTING
    assert {one.operation for one in of_set.routes[-1].operations} == {"pack"}
    assert of_set.routes[:-1] == lens.routes[:-1], "edges are blackened for the mount that the customer has"
    assert of_set.routes[-1].consumes == lens.routes[-1].consumes
    assert not any("barrel" in one.name for one in of_set.bought_parts)


def test_a_set_costs_less_than_the_lens_and_is_there_no_later() -> None:
    (_, lens), (_, of_set) = quoted(mounted=True, delivered="lenses"), quoted(mounted=True, delivered="sets")
    (in_mount,), (apart,) = lens.breaks, of_set.breaks
    assert apart.total_price < in_mount.total_price
    assert apart.lead_time.p50_days <= in_mount.lead_time.p50_days
    assert [one.code for one in of_set.findings].count("delivered-in-sets") == 1


def test_a_lens_without_a_mount_is_a_set_already() -> None:
    (_, lens), (_, of_set) = quoted(mounted=False, delivered="lenses"), quoted(mounted=False, delivered="sets")
    assert of_set.breaks == lens.breaks
