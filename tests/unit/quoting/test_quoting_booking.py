"""What an order takes of the shop: every operation once, with its machine hours and the days it is expected on."""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from itertools import pairwise

import pytest

from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.quote import plans_for
from services.quoting.service.booking import order_operations
from shared_schemas.rates import Rates
from tests import chain


@pytest.fixture(scope="module", params=(5, 100))
def evaluation(request: pytest.FixtureRequest, rates: Rates) -> Evaluation:
    """The published triplet: three elements, cemented or not, and the lens they are put together in."""
    asked = chain.published_triplet()
    _, blanks, operations = chain.sections_of(asked, rates)
    return evaluate(plans_for(chain.job_of(asked), blanks, operations, rates), quantity=request.param, evened=False)


def test_the_hours_handed_over_are_the_machine_minutes_of_the_evaluation(evaluation: Evaluation) -> None:
    handed: dict[str, float] = defaultdict(float)
    for one in order_operations(evaluation):
        handed[one.work_centre] += one.hours
    minutes: dict[str, float] = defaultdict(float)
    for lines in evaluation.operations.values():
        for cost in lines:
            minutes[cost.work_centre.name] += cost.machine_min
    assert handed.keys() == minutes.keys()
    assert {name: hours * 60 for name, hours in handed.items()} == pytest.approx(dict(minutes))
    assert sum(handed.values()) > 10


def test_operations_are_numbered_through_the_job_in_the_order_of_its_routes(evaluation: Evaluation) -> None:
    operations = order_operations(evaluation)
    assert [one.sequence for one in operations] == list(range(1, len(operations) + 1))
    routed = [(route.part, one.operation, one.work_centre) for route in evaluation.made.routes for one in route.operations]
    assert [(one.part, one.operation, one.work_centre) for one in operations] == routed


def test_no_operation_is_expected_before_the_order_nor_before_the_one_it_follows(evaluation: Evaluation) -> None:
    operations = order_operations(evaluation)
    assert min(one.begins for one in operations) >= date(2026, 11, 2)
    assert all(one.begins <= one.ends for one in operations)
    for before, following in pairwise(operations):
        if before.part == following.part:
            assert before.begins <= following.begins
    lens = [one for one in operations if one.part == evaluation.made.lens.part]
    assert lens[-1].ends == max(one.ends for one in operations)
    assert lens[-1].ends <= evaluation.schedule.ship_date


def test_every_operation_that_is_handed_over_has_an_id_of_its_own(evaluation: Evaluation) -> None:
    ids = [one.id for one in order_operations(evaluation)]
    assert all(ids)
    assert len(set(ids)) == len(ids)


def test_what_is_handed_over_says_how_hard_the_element_is_to_work(evaluation: Evaluation) -> None:
    operations = order_operations(evaluation)
    on_elements = [
        one for one in operations if one.part != evaluation.made.lens.part and one.operation in ("generate", "polish", "centre")
    ]
    assert on_elements
    assert all(one.glass_class.startswith("HG") for one in on_elements)
    assert {one.tolerance_class for one in on_elements} <= {"commercial", "precision", "high_precision"}
    assert {(one.glass_class, one.tolerance_class) for one in operations if one.operation == "pack"} == {("", "")}
