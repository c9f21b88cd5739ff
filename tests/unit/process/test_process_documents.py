"""Certificates, reports and packing that customers ask for by name stand in the delivered table of operations."""

from __future__ import annotations

from decimal import Decimal

import pytest

from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.quote import plans_for
from services.rates.domain.seed import seed_rates
from shared_schemas.operations import Route
from shared_schemas.rates import Rates
from tests.chain import job_of, request_of, sections_of, singlet

PLACES = {
    "measuring report": ("L1", "inspect"),
    "material certificate": ("L1", "core"),
    "certificate of conformity": ("lens", "pack"),
    "special packing": ("lens", "pack"),
}


@pytest.fixture(scope="module")
def delivered() -> Rates:
    return seed_rates()


def routes(rates: Rates, *asked: str) -> dict[str, Route]:
    return {route.part: route for route in sections_of(request_of(singlet(), (10,), own_operations=list(asked)), rates)[2].routes}


def operations_cost(rates: Rates, *asked: str) -> Decimal:
    request = request_of(singlet(), (10,), own_operations=list(asked))
    _, blanks, operations = sections_of(request, rates)
    return evaluate(plans_for(job_of(request), blanks, operations, rates), quantity=10, evened=False).costs.operations


@pytest.mark.parametrize("name", PLACES)
def test_a_document_that_is_asked_for_has_its_place_and_its_cost(name: str, delivered: Rates) -> None:
    part, after = PLACES[name]
    steps = routes(delivered, name)[part].operations
    place = next(place for place, one in enumerate(steps) if one.method == name)
    assert after in {one.operation for one in steps[:place]}
    assert operations_cost(delivered, name) > operations_cost(delivered)


def test_the_table_has_these_alone_and_none_is_done_without_asking(delivered: Rates) -> None:
    assert {row.name for row in delivered.operations} == set(PLACES)
    without = delivered.model_copy(update={"operations": ()})
    assert routes(delivered) == routes(without)


def test_what_is_done_after_packing_needs_no_mount(delivered: Rates) -> None:
    _, _, plan = sections_of(
        request_of(singlet(), (10,), own_operations=["certificate of conformity", "special packing"]), delivered
    )
    assert [one.method for one in plan.routes[-1].operations[-2:]] == ["special packing", "certificate of conformity"]
    assert "own-operation-without-a-place" not in {one.code for one in plan.findings}
