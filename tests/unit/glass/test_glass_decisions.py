"""Where a decision of the glass stage turns: each figure on both sides of its threshold."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from services.glass.domain.blank.options import BlankOption, Misfit, option_for
from services.glass.domain.buying.groups import Group, GroupLot, Part, Terms, owned_once
from services.glass.domain.buying.lots import cheapest_lots
from services.glass.domain.buying.purchase import least_purchase, plate_costs
from services.glass.domain.buying.sharing import Grinding, added_work, shared_offer
from services.glass.domain.findings import cares_of
from services.glass.domain.plan import plan_blanks
from services.optics.body import body
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Element
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job

Makes = Callable[..., Element]
SLAB = "N-BK7 slab 160x160x40"


@pytest.fixture
def way_of(element: Makes, rates: Rates) -> Callable[..., BlankOption]:
    """The way to the blank of an element out of the slab, with changes of the stock row."""

    def way(name: str = "L1", row: str = SLAB, stock: dict[str, object] | None = None, **changes: object) -> BlankOption:
        stock_row = next(one for one in rates.stock_forms if one.name == row).model_copy(update=stock or {})
        drawn = element(name, **changes)
        option = option_for(element=drawn, finished=body(element=drawn), stock=stock_row, density_g_cm3=2.51, rates=rates)
        assert isinstance(option, BlankOption)
        return option

    return way


def test_what_is_left_of_a_slab_is_a_remnant_only_where_another_plate_would_come_out_of_it(
    way_of: Callable[..., BlankOption],
) -> None:
    options = [way_of("L1"), way_of("L2", centre_thickness_mm=9.0)]
    numbers = np.arange(1, 200)
    offer = shared_offer(options=options, partition=(("L1",), ("L2",)), numbers=numbers, density_g_cm3=2.51, minor_units=2)
    plate_mm = options[0].shape.thickness_mm + options[0].allowances.saw_kerf.allowance_mm
    seen = set()
    for place in range(len(numbers)):
        rest_mm = offer.slabs[place].rest_mm
        worth_keeping = rest_mm >= plate_mm
        seen.add((worth_keeping, rest_mm > 0.1))
        assert offer.rest_kg(place) == (pytest.approx(rest_mm * offer.shelf.kg_per_mm, abs=1e-6) if worth_keeping else 0.0)
    assert {(True, True), (False, True)} <= seen


def test_grinding_more_glass_away_costs_for_every_blank(
    way_of: Callable[..., BlankOption], ground_at: Callable[[float], Grinding]
) -> None:
    options = [way_of("L1"), way_of("L2", centre_thickness_mm=9.0)]
    one, eight = (added_work(options=options, number=number, grinding=ground_at(0.01)) for number in (1, 8))
    thin, thick = (option.shape for option in options)
    area_mm2 = thin.volume_mm3 / thin.thickness_mm
    assert one == pytest.approx(area_mm2 * (thick.thickness_mm - thin.thickness_mm) * 0.01)
    assert eight == pytest.approx(8 * one)


def test_buying_together_has_to_pay_for_the_element_that_starts_a_tenth_more() -> None:
    def group(element: str) -> Group:
        return Group((element,), (GroupLot(10, Decimal(60), ()),), {})

    def together(cost_of_eleven: int) -> Group:
        lots = (GroupLot(10, Decimal(100), ()), GroupLot(11, Decimal(cost_of_eleven), ()))
        return Group(("L1", "L2"), lots, {}, (group("L1"), group("L2")))

    assert together(119).likely_lot(10).cost == 100
    assert together(121).likely_lot(10).cost == 120


@pytest.mark.parametrize(("quantity", "starts"), [(1, 10), (3, 13), (10, 23), (100, 158)])
def test_likely_starts_are_half_as_many_again_and_eight(quantity: int, starts: int) -> None:
    assert Terms((quantity,), 500, 2).likely_starts(quantity) == starts


def test_a_lot_of_several_parts_comes_when_the_last_of_them_comes(way_of: Callable[..., BlankOption]) -> None:
    lots = [
        cheapest_lots(sources=[way_of(stock={"lead_days": days}).source], up_to_blanks=5, minor_units=2)[-1] for days in (3.0, 17.0)
    ]
    parts = tuple(Part((name,), lot) for name, lot in zip(("L1", "L2"), lots, strict=True))
    assert GroupLot(5, Decimal(1), parts).lead_days == 17.0
    assert GroupLot(5, Decimal(1), parts).pieces == sum(lot.pieces for lot in lots)


def test_what_lies_in_the_store_is_kept_for_the_heaviest_blank(way_of: Callable[..., BlankOption]) -> None:
    options = {
        name: {SLAB: way_of(name, stock={"owned_pieces": 2}, diameter_mm=diameter)}
        for name, diameter in (("L1", 20.0), ("L2", 35.0))
    }
    kept = {name: ways[SLAB].stock.owned_pieces for name, ways in owned_once(options).items()}
    assert kept == {"L1": 0, "L2": 2}


def test_a_plate_that_stays_unsawn_weighs_as_much_as_it_and_its_saw_cut(way_of: Callable[..., BlankOption]) -> None:
    option = way_of()
    depth_mm = option.shape.thickness_mm + option.allowances.saw_kerf.allowance_mm
    assert option.plate_mass_g == pytest.approx(160 * 160 * depth_mm * 2.51 / 1000)


@pytest.mark.parametrize("row", [SLAB, "N-BK7 pressing"])
def test_the_cheapest_purchase_of_one_row_is_that_of_the_table_of_all_numbers(row: str, way_of: Callable[..., BlankOption]) -> None:
    for stock in ({}, {"minimum_kg": 9.0}):
        source = way_of(row=row, stock=stock).source
        table = plate_costs(source=source, up_to_plates=2000).amount
        for blanks in (1, 7, 40, 163, 500, 1500):
            purchase = least_purchase(source=source, blanks=blanks)
            assert float(purchase.amount) == pytest.approx(table[-(-blanks // source.blanks_per_plate)])
            assert purchase.blanks == blanks


def test_a_rod_serves_up_to_twice_the_allowance_on_the_diameter(element: Makes, rates: Rates) -> None:
    rod = next(row for row in rates.stock_forms if row.name == "N-BK7 rod 6x150")
    small = element("L1", diameter_mm=5.0, centre_thickness_mm=2.0)

    def out_of(diameter_mm: float) -> BlankOption | Misfit:
        stock = rod.model_copy(update={"diameter_mm": diameter_mm})
        return option_for(element=small, finished=body(element=small), stock=stock, density_g_cm3=2.51, rates=rates)

    first = out_of(6.0)
    assert isinstance(first, BlankOption)
    needed, allowance = first.shape.diameter_mm, first.allowances.on_diameter.allowance_mm
    assert isinstance(out_of(needed + allowance), BlankOption)
    for beyond in (needed + allowance + 0.01, needed - 0.01):
        assert isinstance(out_of(beyond), Misfit)


def test_a_slice_of_any_rod_is_ground_round_to_the_diameter_that_every_form_has(element: Makes, rates: Rates) -> None:
    rod = next(row for row in rates.stock_forms if row.name == "N-BK7 rod 6x150").model_copy(update={"diameter_mm": 6.7})
    slab = next(row for row in rates.stock_forms if row.glass == "N-BK7" and row.form == "slab")
    small = element("L1", diameter_mm=5.0, centre_thickness_mm=2.0)
    sliced, cored = (
        option_for(element=small, finished=body(element=small), stock=row, density_g_cm3=2.51, rates=rates) for row in (rod, slab)
    )
    assert isinstance(sliced, BlankOption)
    assert isinstance(cored, BlankOption)
    assert sliced.shape == cored.shape
    assert sliced.yielded.utilisation == pytest.approx((sliced.shape.diameter_mm / 6.7) ** 2)


@pytest.mark.parametrize(
    ("least_mm", "diameter_mm", "pressed"), [(None, 9.9, False), (None, 10.0, True), (6.0, 6.0, True), (6.0, 5.9, False)]
)
def test_small_lenses_are_pressed_only_where_a_row_of_stock_says_so(
    least_mm: float | None, diameter_mm: float, pressed: bool, element: Makes, rates: Rates
) -> None:
    row = next(row for row in rates.stock_forms if row.name == "N-BK7 pressing").model_copy(update={"least_diameter_mm": least_mm})
    small = element("L1", diameter_mm=diameter_mm, centre_thickness_mm=3.0)
    way = option_for(element=small, finished=body(element=small), stock=row, density_g_cm3=2.51, rates=rates)
    assert isinstance(way, BlankOption) is pressed
    if isinstance(way, Misfit):
        assert (way.needed_mm, way.available_mm) == (diameter_mm, least_mm or 10.0)


@pytest.mark.parametrize(("share", "said"), [(0.19, True), (0.21, False)])
def test_stock_of_which_less_than_a_fifth_becomes_blanks_gets_care(
    share: float, said: bool, way_of: Callable[..., BlankOption]
) -> None:
    option = way_of()
    lots = {5: cheapest_lots(sources=[option.source], up_to_blanks=5, minor_units=2)[-1]}
    used = replace(option, mass_g=share * option.bought_per_blank_g)
    assert ("stock-little-used" in {one.code for one in cares_of(position=0, option=used, lots=lots)}) is said


@pytest.mark.parametrize(("days", "said"), [(60.0, False), (60.5, True)])
def test_glass_that_takes_longer_than_sixty_days_gets_care(days: float, said: bool, way_of: Callable[..., BlankOption]) -> None:
    option = way_of(stock={"lead_days": days})
    lots = {5: cheapest_lots(sources=[option.source], up_to_blanks=5, minor_units=2)[-1]}
    assert ("glass-long-lead" in {one.code for one in cares_of(position=0, option=option, lots=lots)}) is said


def test_the_steps_reach_two_starts_for_each_piece_of_the_largest_quantity_and_120_more(
    element: Makes, check_of: Callable[[Sequence[Element]], CheckReport], job_of: Callable[..., Job], rates: Rates
) -> None:
    elements = [element("L1")]
    plan = plan_blanks(job=job_of(elements, (5, 100)), check=check_of(elements), rates=rates)
    assert isinstance(plan, BlankPlan)
    assert all(320 <= model.steps[-1].blanks <= 320 * 17 / 16 + 16 for model in plan.materials)
