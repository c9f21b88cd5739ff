from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from xml.etree import ElementTree

import pytest

from services.glass.domain.plan import plan_blanks
from shared_schemas.blanks import Blank, BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Element
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job

Makes = Callable[..., Element]
Checks = Callable[[Sequence[Element]], CheckReport]
Jobs = Callable[..., Job]
Plans = Callable[..., BlankPlan]


def figure(blank: Blank, name: str) -> float:
    (found,) = [one.value for one in blank.basis if one.name == name]
    assert isinstance(found, float)
    return found


def with_store(rates: Rates, name: str, **changes: object) -> Rates:
    rows = tuple(row.model_copy(update=changes) if row.name == name else row for row in rates.stock_forms)
    return Rates(**{table: getattr(rates, table) for table in Rates.model_fields} | {"stock_forms": rows})


@pytest.fixture
def plan(check_of: Checks, job_of: Jobs, rates: Rates) -> Plans:
    def planned(
        elements: Sequence[Element], quantities: tuple[int, ...] = (5, 25, 100), of: Rates = rates, pictures: bool = False
    ) -> BlankPlan:
        found = plan_blanks(job=job_of(elements, quantities), check=check_of(elements), rates=of, pictures=pictures)
        assert isinstance(found, BlankPlan)
        return found

    return planned


def test_elements_of_one_glass_buy_together_when_that_is_cheaper_and_the_plan_says_so(element: Makes, plan: Plans) -> None:
    one, two, other = element("L1"), element("L2", diameter_mm=30.0), element("L3", glass="LASF35")
    together = plan([one, two, other])
    (slabs,) = [model for model in together.materials if model.form == "slab" and "L1" in model.members]
    assert slabs.members == ("L1", "L2")
    apart = [next(model for model in plan([single]).materials if model.form == "slab") for single in (one, two)]
    for blanks in (5, 15, 45):
        each = sum(next(step.cost for step in model.steps if step.blanks >= blanks) for model in apart)
        shared = next(step.cost for step in slabs.steps if step.blanks >= blanks)
        assert shared <= each
    (note,) = [found for found in together.findings if found.code == "glass-bought-together"]
    assert "L1, L2" in note.message


def test_a_purchase_for_several_says_what_it_is_made_of_and_adds_up(element: Makes, plan: Plans) -> None:
    materials = plan([element("L1"), element("L2", diameter_mm=30.0)]).materials
    (material,) = [model for model in materials if model.members == ("L1", "L2")]
    assert material.form == "slab"
    for step in material.steps:
        assert step.purchases
        total = sum((line.amount for line in step.purchases), Decimal(0))
        assert abs(step.cost - total) <= Decimal("0.02")
        assert {member for line in step.purchases for member in line.members} == {"L1", "L2"}
        assert sum(line.pieces for line in step.purchases) == step.pieces


def test_what_lies_in_the_store_is_used_by_one_element_only_and_has_no_lead_time(element: Makes, plan: Plans, rates: Rates) -> None:
    stocked = with_store(rates, "LASF35 slab 160x160x30", owned_pieces=1)
    elements = [element("L1", glass="LASF35"), element("L2", glass="LASF35", diameter_mm=30.0)]
    found = plan(elements, (2, 40), of=stocked)
    first = found.materials[0].steps[0]
    owned = [line for material in found.materials for line in material.steps[0].purchases if line.owned]
    assert sum(line.pieces for line in owned) == 1
    assert first.lead_days == 0.0
    assert first.cost < plan(elements, (2, 40)).materials[0].steps[0].cost
    for material in found.materials:
        assert not any(line.owned for line in material.steps[-1].purchases)


def test_glass_in_the_store_without_a_stated_worth_gets_a_care_finding(element: Makes, plan: Plans, rates: Rates) -> None:
    stocked = with_store(rates, "LASF35 slab 160x160x30", owned_pieces=1, remnant_credit=0.0)
    bare = Rates(
        **{table: getattr(stocked, table) for table in Rates.model_fields}
        | {"stock_forms": tuple(row for row in stocked.stock_forms if row.name != "LASF35 strip 160x60x25")}
    )
    found = plan([element("L1", glass="LASF35")], (2,), of=bare)
    (care,) = [one for one in found.findings if one.code == "store-at-full-price"]
    assert care.severity == "care"
    assert found.materials[0].steps[0].cost > 0


def test_the_crossover_is_the_first_number_from_which_pressing_is_always_cheaper(element: Makes, plan: Plans) -> None:
    found = plan([element("L1", diameter_mm=50.0, front_radius_mm=100.0, back_radius_mm=-100.0)], (10, 2000))
    (note,) = [one for one in found.findings if one.code == "cut-or-pressed"]
    (turn,) = [one for model in found.materials for one in model.basis if one.name == "pressing_from_blanks"]
    assert note.figure == turn.value
    amounts = {one.name: one.value for one in turn.inputs if isinstance(one.value, Decimal)}
    assert amounts["pressed_amount"] < amounts["cut_amount"]


def test_losses_from_the_slab_to_the_lens_multiply_to_what_is_paid_for_a_gram(element: Makes, plan: Plans) -> None:
    for blank in plan([element("L1"), element("L2", glass="LASF35")]).blanks:
        if blank.form == "pressing":
            continue
        kept = 1.0
        for loss in ("lost_in_sawing_share", "lost_in_coring_share", "removed_share"):
            assert 0 < figure(blank, loss) < 1
            kept *= 1 - figure(blank, loss)
        assert 1 / kept == pytest.approx(figure(blank, "bought_per_gram_finished"))


def test_plates_are_drawn_when_asked_for_and_not_otherwise(element: Makes, plan: Plans) -> None:
    elements = [element("L1"), element("L2", diameter_mm=30.0)]
    assert plan(elements).plates == ()
    plates = plan(elements, pictures=True).plates
    assert {one.element for plate in plates for one in plate.discs} == {"L1", "L2"}
    for plate in plates:
        assert 0 < plate.utilisation < 0.9069
        assert plate.mass_g > 0
        picture = ElementTree.fromstring(plate.svg)
        drawn = [shape for shape in picture.iter("{http://www.w3.org/2000/svg}circle") if shape.get("class") == "disc"]
        assert len(drawn) == sum(one.discs for one in plate.discs)


def test_all_discs_of_the_lot_are_on_the_plates(element: Makes, plan: Plans) -> None:
    plates = plan([element("L1"), element("L2", diameter_mm=30.0)], (25,), pictures=True).plates
    for name in ("L1", "L2"):
        assert sum(plate.plates * one.discs for plate in plates for one in plate.discs if one.element == name) >= 25


def test_many_elements_of_one_glass_have_a_name_within_the_contract(element: Makes, plan: Plans) -> None:
    elements = [element(f"front-element-{number}", centre_thickness_mm=6.0 + number) for number in range(6)]
    (material,) = [model for model in plan(elements).materials if len(model.members) > 1]
    assert material.name == "slab N-BK7 of 6 elements"
