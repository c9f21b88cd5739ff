"""Elements that are alike are one lot: one route for the first of them, which the others are made on too."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest

from services.process.domain.plan import plan_operations
from services.process.errors import PlansDoNotMatch
from shared_schemas.operations import Consumed, OperationPlan, Route
from shared_schemas.prescription import Barrel
from shared_schemas.rates import Rates

BARREL = Barrel(material="aluminium", length_mm=60.0, outer_diameter_mm=44.0, engraved_characters=20)


def merged(made: Any, alike: dict[str, str]) -> Any:
    """The plans before, with blanks for the first of each kind only."""
    blanks = made.blanks
    kept = tuple(blank for blank in blanks.blanks if blank.element not in alike)
    return replace(made, blanks=blanks.model_copy(update={"blanks": kept, "alike": alike}))


def plan(made: Any, rates: Rates) -> OperationPlan:
    planned = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates, pictures=True)
    assert isinstance(planned, OperationPlan), planned
    return planned


def parts(routes: Sequence[Route]) -> list[str]:
    return [route.part for route in routes]


@pytest.fixture(scope="module")
def twins(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> tuple[OperationPlan, OperationPlan]:
    """The plans of a lens whose outer elements are alike: each for itself, and as one lot."""
    made = lens(piece(name="L1"), piece(name="L2", radii_mm=(-40.0, 40.0)), piece(name="L3"), barrel=BARREL)
    return plan(made, rates), plan(merged(made, {"L3": "L1"}), rates)


def test_only_the_first_of_elements_that_are_alike_has_a_route(twins: tuple[OperationPlan, OperationPlan]) -> None:
    apart, together = twins
    assert parts(apart.routes) == ["L1", "L2", "L3", "lens"]
    assert parts(together.routes) == ["L1", "L2", "lens"]
    assert together.alike == {"L3": "L1"}
    assert apart.alike == {}
    assert together.routes[0] == apart.routes[0]


def test_the_lens_consumes_as_many_of_the_first_as_there_are_places_for_it(twins: tuple[OperationPlan, OperationPlan]) -> None:
    apart, together = twins
    assert together.routes[-1].consumes == (Consumed(part="L1", count=2), Consumed(part="L2"))
    assert together.routes[-1].operations == apart.routes[-1].operations
    assert together.bought_parts == apart.bought_parts


def test_tools_pictures_and_relaxations_are_of_the_first(twins: tuple[OperationPlan, OperationPlan]) -> None:
    apart, together = twins
    assert together.tooling == apart.tooling
    assert {tool.part for tool in together.tools_owned} == {"L1", "L2"}
    assert all(tool in apart.tools_owned for tool in together.tools_owned)
    assert [block.part for block in together.blocks] == [block.part for block in apart.blocks if block.part != "L3"]
    assert {relaxed.part for relaxed in together.relaxations} == {"L1", "L2", "lens"}
    means = {relaxed.means for relaxed in together.relaxations if relaxed.part == "L1" and relaxed.tolerance != "coating"}
    assert means == {"L1, L3 together, which are alike"}


def test_a_radius_is_offered_for_the_faces_of_all_that_are_alike(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    owned = next(row for row in rates.tooling if row.kind == "test_plate" and row.owned and row.radius_mm)
    assert owned.radius_mm is not None
    radius = owned.radius_mm * (1 + 0.9 * owned.offer_reach_share)
    made = lens(
        piece(name="L1", radii_mm=(radius, None)),
        piece(name="L2", radii_mm=(-71.3, 40.0)),
        piece(name="L3", radii_mm=(radius, None)),
    )
    sloped = tuple(
        one.model_copy(update={"front": one.front.model_copy(update={"focal_length_per_radius": 0.001})}) for one in made.check.elements
    )  # fmt: skip
    made = replace(made, check=made.check.model_copy(update={"elements": sloped}))
    apart, together = plan(made, rates), plan(merged(made, {"L3": "L1"}), rates)
    assert any(offer.also == ("/elements/2/front/radius_mm",) for offer in together.offers)
    assert [offer.model_dump() for offer in together.offers] == [offer.model_dump() for offer in apart.offers]


def test_groups_that_are_alike_are_cemented_as_one_lot(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    crown, flint = piece(), piece(radii_mm=(-50.0, None), glass="N-SF5")
    pieces = [replace(one, name=f"L{number}") for number, one in enumerate((crown, flint, crown, flint, crown), start=1)]
    made = merged(lens(*pieces, cemented=(0, 2)), {"L3": "L1", "L4": "L2"})
    routes = plan(made, rates).routes
    assert parts(routes) == ["L1", "L2", "L5", "L1+L2", "lens"]
    assert routes[-1].consumes == (Consumed(part="L1+L2", count=2), Consumed(part="L5"))


def test_a_part_may_go_into_several_groups(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    crown, flint = piece(), piece(radii_mm=(-50.0, None), glass="N-SF5")
    pieces = [replace(one, name=f"L{number}") for number, one in enumerate((crown, flint, crown, flint), start=1)]
    made = merged(lens(*pieces, cemented=(0, 2)), {"L3": "L1"})
    routes = {route.part: route for route in plan(made, rates).routes}
    assert [*routes] == ["L1", "L2", "L4", "L1+L2", "L1+L4", "lens"]
    assert routes["L1+L4"].consumes == (Consumed(part="L1"), Consumed(part="L4"))


def test_a_demand_beyond_the_shop_is_refused_at_every_place_where_it_is_drawn(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(name="L1", centring_arcmin=0.001), piece(name="L2", centring_arcmin=0.001))
    refused = plan_operations(job=made.job, check=made.check, blanks=merged(made, {"L2": "L1"}).blanks, rates=rates)
    assert not isinstance(refused, OperationPlan)
    assert [reason.pointer for reason in refused.reasons] == [f"/elements/{place}/tolerances/centring" for place in (0, 1)]


def test_the_blanks_of_every_form_are_there_and_the_first_is_the_likeliest(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece())
    slab = made.blanks.blanks[0]
    rod = slab.model_copy(update={"form": "rod", "discs_per_plate": 1})
    both = replace(made, blanks=made.blanks.model_copy(update={"blanks": (slab, rod)}))
    (work,) = both.works(rates)
    assert work.blank is slab
    assert work.blanks == (slab, rod)


def test_a_first_of_its_kind_without_a_blank_is_named(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    made = merged(lens(piece(name="L1"), piece(name="L2")), {"L2": "L9"})
    with pytest.raises(PlansDoNotMatch, match="L9"):
        made.works(rates)
