"""Forms of blank: which are candidates, what glass costs in each, and that nothing of it depends on what else is asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from services.glass.domain.blank.candidates import NUMBERS, Workshop, candidates_of
from services.glass.domain.blank.options import BlankOption, option_for
from services.glass.domain.buying.lots import numbers_up_to
from services.glass.domain.buying.sharing import cheapest_grinding
from services.glass.domain.plan import plan_blanks
from services.optics.body import body
from shared_schemas.blanks import BlankPlan, MaterialModel
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Element, IndexGlass
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal

Makes = Callable[..., Element]
Plans = Callable[..., BlankPlan]


@pytest.fixture(scope="module")
def plan(check_of: Callable[[Sequence[Element]], CheckReport], job_of: Callable[..., Job], rates: Rates) -> Plans:
    def planned(elements: Sequence[Element], quantities: tuple[int, ...] = (5, 25, 100), of: Rates = rates) -> BlankPlan:
        found = plan_blanks(job=job_of(elements, quantities), check=check_of(elements), rates=of)
        assert isinstance(found, BlankPlan)
        return found

    return planned


def cost(model: MaterialModel, blanks: int) -> Decimal:
    return next(step.cost for step in model.steps if step.blanks >= blanks)


GLASSES = st.sampled_from(["N-BK7", "N-SK4", "SF2", "LASF35", "N-FK51A"])


@st.composite
def drawn(draw: st.DrawFn) -> dict[str, Any]:
    diameter = draw(st.floats(3.0, 70.0))
    radius = diameter * draw(st.floats(0.9, 8.0))
    back = draw(st.sampled_from([-1.0, 1.0])) * diameter * draw(st.floats(0.9, 8.0))
    thickness = diameter * draw(st.floats(0.12, 0.4)) + (0.3 * diameter if back < 0 else 0.0)
    return {
        "glass": draw(GLASSES), "diameter_mm": diameter, "centre_thickness_mm": thickness, "front_radius_mm": radius,
        "back_radius_mm": back,
    }  # fmt: skip


LENSES = st.lists(drawn(), min_size=1, max_size=4)
QUANTITIES = st.lists(st.integers(1, 3000), min_size=1, max_size=4, unique=True).map(tuple)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(lens=LENSES, asked=st.integers(1, 1500), others=QUANTITIES)
def test_the_glass_of_a_quantity_does_not_depend_on_the_others_asked_for(
    lens: list[dict[str, Any]], asked: int, others: tuple[int, ...], element: Makes, job_of: Callable[..., Job],
    check_of: Callable[[Sequence[Element]], CheckReport], rates: Rates,
) -> None:  # fmt: skip
    elements = [element(f"L{number}", **one) for number, one in enumerate(lens)]
    alone, among = (
        plan_blanks(job=job_of(elements, quantities), check=check_of(elements), rates=rates)
        for quantities in ((asked,), tuple({asked, *others}))
    )
    if isinstance(alone, Refusal):
        assert alone == among
        return
    assert isinstance(among, BlankPlan)
    by_name = {blank.element + blank.form: blank.model_dump(exclude={"basis"}) for blank in alone.blanks}
    assert by_name == {blank.element + blank.form: blank.model_dump(exclude={"basis"}) for blank in among.blanks}
    assert [(model.form, model.members) for model in alone.materials] == [(model.form, model.members) for model in among.materials]
    for one, other in zip(alone.materials, among.materials, strict=True):
        for blanks in {1, 2, asked, 2 * asked, 2 * asked + 120}:
            assert cost(one, blanks) == cost(other, blanks)
        for apart, apart_too in zip(one.apart, other.apart, strict=True):
            assert cost(apart, 2 * asked + 120) == cost(apart_too, 2 * asked + 120)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(lens=LENSES, quantities=QUANTITIES)
def test_every_blank_has_its_material_every_material_its_blanks_and_cost_never_falls_with_the_number(
    lens: list[dict[str, Any]], quantities: tuple[int, ...], element: Makes, job_of: Callable[..., Job],
    check_of: Callable[[Sequence[Element]], CheckReport], rates: Rates,
) -> None:  # fmt: skip
    elements = [element(f"L{number}", **one) for number, one in enumerate(lens)]
    plan = plan_blanks(job=job_of(elements, quantities), check=check_of(elements), rates=rates)
    if isinstance(plan, Refusal):
        return
    served = [(member, model.form) for model in plan.materials for member in model.members]
    assert len(set(served)) == len(served)
    assert set(served) == {(blank.element, blank.form) for blank in plan.blanks}
    for model in (*plan.materials, *(own for shared in plan.materials for own in shared.apart)):
        assert all(one.cost < two.cost and one.blanks < two.blanks for one, two in pairwise(model.steps))
        assert model.steps[-1].blanks >= 2 * max(quantities) + 120
        assert {line.form for step in model.steps for line in step.purchases} == {model.form}
    for name in {blank.element for blank in plan.blanks}:
        forms = [blank for blank in plan.blanks if blank.element == name]
        assert len({blank.diameter_mm for blank in forms}) == 1
        assert len({blank.thickness_mm for blank in forms if blank.form in ("rod", "disc")}) <= 1


def test_elements_that_are_alike_are_one_lot_whose_glass_reaches_for_all_of_them(element: Makes, plan: Plans) -> None:
    one, other = element("L1"), element("L2", glass="SF2")
    twins = plan([one, other, element("L3"), element("L4")], (100,))
    assert twins.alike == {"L3": "L1", "L4": "L1"}
    assert {blank.element for blank in twins.blanks} == {"L1", "L2"}
    assert {member for model in twins.materials for member in model.members} == {"L1", "L2"}
    single = plan([one, other], (100,))
    for many, few in zip(twins.materials, single.materials, strict=True):
        assert many.steps[-1].blanks >= (2 * 100 * 3 + 120 if "L1" in many.members else 2 * 100 + 120)
        assert cost(many, 300) == cost(few, 300)
    assert [blank for blank in twins.blanks if blank.element == "L1"] == [blank for blank in single.blanks if blank.element == "L1"]


def test_a_refusal_names_every_place_of_elements_that_are_alike(
    element: Makes, check_of: Callable[[Sequence[Element]], CheckReport], job_of: Callable[..., Job], rates: Rates
) -> None:
    elements = [element(name, glass=IndexGlass(nd=1.6, vd=50.0)) for name in ("L1", "L2")]
    refused = plan_blanks(job=job_of(elements), check=check_of(elements), rates=rates)
    assert isinstance(refused, Refusal)
    assert [reason.pointer for reason in refused.reasons] == ["/elements/0/glass", "/elements/1/glass"]
    assert [reason.message.split()[0] for reason in refused.reasons] == ["L1", "L2"]


@pytest.fixture
def ways(element: Makes, rates: Rates) -> dict[str, BlankOption]:
    """The ways to a blank of N-BK7 by name of the stock row: slabs, discs and a pressing."""
    drawn = element("L1")
    options = [
        option_for(element=drawn, finished=body(element=drawn), stock=row, density_g_cm3=2.51, rates=rates)
        for row in rates.stock_forms
        if row.glass == "N-BK7"
    ]
    return {one.stock.name: one for one in options if isinstance(one, BlankOption)}


@pytest.fixture
def shop(rates: Rates) -> Workshop:
    return Workshop(rates.glass("N-BK7"), cheapest_grinding(grindability_hg=3, rates=rates), rates)


def dearer(option: BlankOption, by: float, **changes: object) -> BlankOption:
    """The same way at so many times the price."""
    prices = tuple(step.model_copy(update={"price_per_kg": step.price_per_kg * Decimal(by)}) for step in option.stock.prices)
    return replace(option, stock=option.stock.model_copy(update={"prices": prices, **changes}))


def test_a_form_with_as_much_work_is_left_out_as_soon_as_its_glass_is_always_dearer(
    ways: dict[str, BlankOption], shop: Workshop
) -> None:
    slab = ways["N-BK7 slab 160x160x40"]
    strip = replace(slab, stock=slab.stock.model_copy(update={"form": "strip", "name": "a strip"}))
    for factor, forms in ((0.99, ("slab", "strip")), (1.01, ("slab",))):
        found = candidates_of(
            options={"slab": slab, "strip": dearer(strip, factor, lot_charge=slab.stock.lot_charge + (factor > 1))},
            sharing=1,
            shop=shop,
        )
        assert found.forms == forms or (factor < 1 and found.forms == ("strip",))
        assert {one.form for one in found.left_out} == {"slab", "strip"} - {*found.forms}


def test_a_form_with_less_work_stays_until_its_glass_is_dearer_by_far_more_than_the_work(
    ways: dict[str, BlankOption], shop: Workshop
) -> None:
    slab, pressing = ways["N-BK7 slab 160x160x40"], ways["N-BK7 pressing"]
    saved = shop.rough_work(slab).each - shop.rough_work(pressing).each
    assert saved > 0
    glass_each = float(slab.mass_g) / 1000 * float(slab.stock.prices[0].price_per_kg)
    little, much = 1 + saved / glass_each, 1 + 40 * saved / glass_each
    for factor, forms in ((little, ("slab", "pressing")), (much, ("slab",))):
        found = candidates_of(options={"slab": slab, "pressing": dearer(pressing, factor)}, sharing=1, shop=shop)
        assert found.forms == forms


def test_a_form_that_lies_in_the_store_stays(ways: dict[str, BlankOption], shop: Workshop) -> None:
    slab, pressing = ways["N-BK7 slab 160x160x40"], ways["N-BK7 pressing"]
    dear = dearer(pressing, 1000)
    kept = replace(dear, stock=dear.stock.model_copy(update={"owned_pieces": 3}))
    assert candidates_of(options={"a": slab, "b": dear}, sharing=1, shop=shop).forms == ("slab",)
    assert candidates_of(options={"a": slab, "b": kept}, sharing=1, shop=shop).forms == ("slab", "pressing")


def test_a_form_that_was_left_out_is_told_with_what_beats_it(element: Makes, plan: Plans, rates: Rates) -> None:
    dear = tuple(
        row.model_copy(
            update={"prices": tuple(step.model_copy(update={"price_per_kg": step.price_per_kg * 500}) for step in row.prices)}
        )
        if row.name == "N-BK7 pressing"
        else row
        for row in rates.stock_forms
    )
    found = plan([element("L1")], of=rates.model_copy(update={"stock_forms": dear}))
    assert "pressing" not in {blank.form for blank in found.blanks}
    (told,) = [one for blank in found.blanks for one in blank.basis if one.name == "form_left_out"]
    assert told.value == "pressing"
    dearer_amount, amount = (one.value for one in told.inputs)
    assert isinstance(dearer_amount, Decimal)
    assert isinstance(amount, Decimal)
    assert dearer_amount > amount


def test_the_numbers_that_costs_are_known_for_are_the_same_however_far_they_go() -> None:
    far = numbers_up_to(100_000)
    for up_to in (1, 5, 32, 33, 100, 1000, 54_321):
        near = numbers_up_to(up_to)
        assert near == far[: len(near)]
        assert near[-1] >= up_to
    assert np.all(np.diff(NUMBERS) <= np.maximum(1, NUMBERS[:-1] // 16))
