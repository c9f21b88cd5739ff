from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.glass.domain.blank.options import BlankOption, option_for, out_of_plate
from services.glass.domain.buying.sharing import Grinding, added_work, best_partition, cheapest_grinding, plates_for, shared_offer
from services.glass.domain.buying.slabs import per_slab, slabs_at_least, slabs_needed
from services.glass.domain.cutting.plan import laid_out
from services.glass.domain.cutting.seats import Kind
from services.glass.domain.layouts.equal import Layout, disc_capacity
from services.glass.domain.layouts.mixed import Plate
from services.optics.body import body
from shared_schemas.prescription import Element
from shared_schemas.rates import Rates

Makes = Callable[..., Element]


def kind(owner: str, diameter_mm: float, plate: Plate, gap_mm: float = 3.0) -> Kind:
    discs, _ = disc_capacity(
        length_mm=plate.length_mm, width_mm=plate.width_mm, diameter_mm=diameter_mm, gap_mm=gap_mm, edge_margin_mm=2.0
    )
    return Kind(owner, diameter_mm, gap_mm, discs, plate)


def fits(layout: Layout) -> bool:
    """An independent look: no disc over the margin, none nearer to another than the larger of their gaps."""
    for disc in layout.discs:
        off = layout.edge_margin_mm + disc.diameter_mm / 2 - 1e-6
        if not (off <= disc.x_mm <= layout.length_mm - off and off <= disc.y_mm <= layout.width_mm - off):
            return False
    return all(
        math.hypot(one.x_mm - two.x_mm, one.y_mm - two.y_mm)
        >= (one.diameter_mm + two.diameter_mm) / 2 + max(one.gap_mm, two.gap_mm) - 1e-6
        for one, two in combinations(layout.discs, 2)
    )


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.sampled_from([9.0, 14.0, 20.0, 27.0, 34.0, 50.0]), min_size=1, max_size=3),
    st.integers(1, 60),
    st.sampled_from([Plate(160.0, 160.0, 2.0), Plate(160.0, 60.0, 2.0)]),
)
def test_the_plates_that_are_counted_can_be_laid_with_every_disc_in_them(diameters: list[float], number: int, plate: Plate) -> None:
    kinds = [kind(f"L{place}", diameter, plate) for place, diameter in enumerate(diameters)]
    layouts = laid_out(kinds=kinds, number=number)
    assert len(layouts) == plates_for(kinds=kinds, numbers=np.array([number]))[0]
    discs = Counter((disc.owner, disc.diameter_mm) for layout in layouts for disc in layout.discs)
    assert discs == {(one.owner, one.diameter_mm): number for one in kinds}
    assert all(fits(layout) for layout in layouts)


def test_small_discs_lie_in_the_gaps_of_large_ones_and_save_plates() -> None:
    plate = Plate(160.0, 160.0, 2.0)
    large, small = kind("L1", 70.0, plate), kind("L2", 20.0, plate)
    apart = sum(plates_for(kinds=[one], numbers=np.array([16]))[0] for one in (large, small))
    assert plates_for(kinds=[large, small], numbers=np.array([16]))[0] < apart


def test_a_seat_that_another_kind_takes_over_keeps_the_wider_of_both_gaps() -> None:
    plate = Plate(160.0, 160.0, 2.0)
    large, small = kind("L1", 34.0, plate), kind("L2", 20.0, plate)
    for near, far in ((1.0, 6.0), (6.0, 1.0)):
        kinds = [replace(large, gap_mm=far), replace(small, gap_mm=near)]
        discs = [disc for layout in laid_out(kinds=kinds, number=1) for disc in layout.discs]
        assert [disc.gap_mm for disc in discs if disc.owner == "L2"] == [6.0]


def test_two_kinds_of_one_size_share_the_last_plate() -> None:
    plate = Plate(160.0, 160.0, 2.0)
    kinds = [kind("L1", 34.0, plate), kind("L2", 34.0, plate)]
    full = kinds[0].discs_per_plate
    assert plates_for(kinds=kinds, numbers=np.array([1, full // 2, full])).tolist() == [1, 1, 2]


plates_of_three = st.tuples(st.integers(0, 30), st.integers(0, 30), st.integers(0, 30)).filter(any)


@settings(max_examples=80, deadline=None)
@given(plates_of_three, st.sampled_from([(21.0, 13.0, 8.0), (9.0, 8.6, 8.2), (30.0, 5.0, 3.1)]))
def test_slabs_hold_all_plates_and_are_no_fewer_than_the_bound(plates: tuple[int, int, int], depths: tuple[float, ...]) -> None:
    found = slabs_needed(plates, depths, 39.2)
    used = sum(count * depth for count, depth in zip(plates, depths, strict=True))
    assert slabs_at_least(plates, depths, 39.2) <= found.number <= sum(plates)
    assert 0 <= found.rest_mm <= 39.2
    assert found.number * 39.2 - used >= found.rest_mm - 1e-9
    assert slabs_needed((plates[0], 0, 0), depths, 39.2).number == math.ceil(plates[0] / per_slab(depths[0], 39.2))


@pytest.fixture
def shelf(element: Makes, rates: Rates) -> list[BlankOption]:
    row = next(row for row in rates.stock_forms if row.name == "N-BK7 slab 160x160x40")
    elements = [
        element("L1", centre_thickness_mm=6.0),
        element("L2", centre_thickness_mm=6.3),
        element("L3", centre_thickness_mm=12.0),
    ]
    found = [option_for(element=one, finished=body(element=one), stock=row, density_g_cm3=2.51, rates=rates) for one in elements]
    return [one for one in found if isinstance(one, BlankOption)]


def test_thin_blanks_go_into_thicker_plates_where_grinding_costs_less_than_glass(
    shelf: Sequence[BlankOption], ground_at: Callable[[float], Grinding]
) -> None:
    for cost, expected in ((1e-9, (("L1", "L2", "L3"),)), (5e-3, (("L1", "L2"), ("L3",))), (None, (("L1",), ("L2",), ("L3",)))):
        grinding = None if cost is None else ground_at(cost)
        partition, added = best_partition(options=shelf, number=8, density_g_cm3=2.51, grinding=grinding)
        assert partition == expected
        assert added == pytest.approx(
            sum(added_work(options=[o for o in shelf if o.element.name in part], number=8, grinding=grinding) for part in partition)
        )


def test_a_blank_out_of_a_thicker_plate_is_as_thick_as_it_and_weighs_more(shelf: Sequence[BlankOption]) -> None:
    thin = shelf[0]
    thick = out_of_plate(option=thin, thickness_mm=13.0)
    assert thick.shape.thickness_mm == 13.0
    assert thick.mass_g / thin.mass_g == pytest.approx(13.0 / thin.shape.thickness_mm)
    assert thick.yielded.plates < thin.yielded.plates
    assert out_of_plate(option=thin, thickness_mm=1.0) is thin


def test_what_is_chosen_by_is_what_is_paid(shelf: Sequence[BlankOption]) -> None:
    stocked = [BlankOption(**{**one.__dict__, "stock": one.stock.model_copy(update={"owned_pieces": 2})}) for one in shelf]
    for options in (shelf, stocked):
        numbers = np.arange(1, 200, 7)
        offer = shared_offer(options=options, partition=(("L1", "L2"), ("L3",)), numbers=numbers, density_g_cm3=2.51, minor_units=2)
        for place in range(len(numbers)):
            lot = offer.lot(place)
            assert float(lot.cost) == pytest.approx(offer.costs[place], abs=0.0101)
            assert lot.cost > 0
            assert sum(one.blanks for one in lot.purchases) == 3 * lot.blanks
            assert sum(one.plates for one in lot.purchases) == sum(one.plates for one in lot.classes)


def test_a_harder_glass_is_dearer_to_grind(rates: Rates) -> None:
    hard, soft = (cheapest_grinding(grindability_hg=hg, rates=rates) for hg in (1, 6))
    assert hard is not None
    assert soft is not None
    assert hard.cost_per_mm3(diameter_mm=25.0) > soft.cost_per_mm3(diameter_mm=25.0) > 0


def test_grinding_costs_a_minute_of_the_cheapest_machine_with_its_labour_at_the_fastest_row(rates: Rates) -> None:
    centre = next(row for row in rates.work_centres if "generate" in row.operations)
    row = next(row for row in rates.grinding if row.stage == "generate" and row.grindability_hg == 3)
    figures = {"machine_rate_per_h": Decimal(60), "labour_rate_per_h": Decimal(30), "attended_share": 0.5}
    dear = centre.model_copy(update={"name": "dear", **figures, "labour_rate_per_h": Decimal(90)})
    slow, fast = (
        row.model_copy(update={"name": str(removal), "infeed_mm_per_min": None, "removal_mm3_per_min": removal})
        for removal in (100.0, 250.0)
    )
    changed = rates.model_copy(update={"work_centres": (dear, centre.model_copy(update=figures)), "grinding": (slow, fast)})
    grinding = cheapest_grinding(grindability_hg=3, rates=changed)
    assert grinding is not None
    assert grinding.row == fast
    assert grinding.minute_cost == pytest.approx(1.25)  # 60/60 + 0.5 * 30/60
    assert grinding.cost_per_mm3(diameter_mm=25.0) == pytest.approx(0.005)
