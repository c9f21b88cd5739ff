from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any, Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.process.domain.plan import plan_operations
from services.process.domain.tools.bought_parts import Wanted, bought_parts
from services.rates.domain.seed import seed_rates
from shared_schemas.operations import BoughtPart, OperationPlan
from shared_schemas.prescription import Barrel, Stop
from shared_schemas.rates import HardwareRow, RateMissing, Rates
from tests.unit.process.conftest import make, make_piece

SEED = seed_rates()
BARREL = Barrel(material="aluminium", length_mm=60.0, outer_diameter_mm=44.0)
Metal = Literal["aluminium", "brass", "stainless_steel", "titanium"]
METALS: tuple[Metal, ...] = ("aluminium", "brass", "stainless_steel", "titanium")


def plan(made: Any, rates: Rates = SEED) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan), found
    return found


def parts(made: Any, rates: Rates = SEED) -> dict[str, BoughtPart]:
    """The parts by what they are, without their size."""
    return {part.name.split(",")[0]: part for part in plan(made, rates).bought_parts}


def drawn(made: Any, **changes: Any) -> Any:
    """A lens with fields of its prescription replaced."""
    request = made.job.request
    prescription = request.prescription.model_copy(update=changes)
    return replace(made, job=made.job.model_copy(update={"request": request.model_copy(update={"prescription": prescription})}))


def mounted(*, elements: int = 1, diameter_mm: float = 25.0, tolerance_mm: float = 0.05, **of_barrel: Any) -> BoughtPart:
    """The barrel of a lens of plain elements."""
    pieces = [
        make_piece(
            name=f"L{number}", diameter_mm=diameter_mm, radii_mm=(200.0, -200.0), coatings=(None, None),
            centre_thickness_mm=0.2 * diameter_mm + 1, diameter_tolerance_mm=tolerance_mm,
        )
        for number in range(elements)
    ]  # fmt: skip
    barrel = Barrel(**{"material": "aluminium", "length_mm": 60.0, "outer_diameter_mm": 44.0, **of_barrel})
    return parts(make(*pieces, barrel=barrel))["barrel"]


def test_bare_lenses_go_in_bulk_and_a_mounted_one_in_a_case() -> None:
    bare = parts(make(make_piece()))
    assert list(bare) == ["bulk tray"]
    assert Decimal("0.05") <= bare["bulk tray"].unit_price <= Decimal("0.2")
    assert "transport case" in parts(make(make_piece(), barrel=BARREL))
    assert "box" in parts(make(make_piece(diameter_mm=90.0, centre_thickness_mm=15.0, radii_mm=(400.0, -400.0))))


def test_each_part_of_a_lens_without_a_barrel_has_a_place_of_its_own() -> None:
    pieces = (make_piece(), make_piece(name="L2"), make_piece(name="L3", diameter_mm=18.0))
    assert [part.count for part in plan(make(*pieces)).bought_parts] == [1, 2]
    assert [part.count for part in plan(make(*pieces, cemented=(0,))).bought_parts] == [1, 1]


def test_a_barrel_is_bought_with_a_spacer_for_each_air_space_and_a_ring() -> None:
    found = plan(make(make_piece(), make_piece(name="L2"), make_piece(name="L3"), barrel=BARREL)).bought_parts
    assert [(part.name.split(",")[0], part.count) for part in found] == [
        ("barrel", 1), ("spacer", 2), ("retaining ring", 1), ("transport case", 1),
    ]  # fmt: skip


def test_spacers_of_two_lengths_are_two_parts_measured_from_rim_to_rim() -> None:
    pieces = (make_piece(radii_mm=(50.0, None)), make_piece(name="L2", radii_mm=(None, -50.0)), make_piece(name="L3"))
    spacers = [part.name for part in plan(make(*pieces, barrel=BARREL)).bought_parts if part.name.startswith("spacer")]
    sagitta_mm = 50 - (50**2 - 12.5**2) ** 0.5
    assert spacers == [f"spacer, aluminium, 25 x {length:.3g} mm" for length in (1.0, 1.0 + 2 * sagitta_mm)]


def test_the_finish_of_the_lot_is_charged_once() -> None:
    found = parts(make(make_piece(), make_piece(name="L2"), barrel=BARREL))
    finish = SEED.metal("aluminium").finish_lot_charge
    for part, kind in (("barrel", "barrel"), ("spacer", "spacer"), ("retaining ring", "retaining_ring")):
        (row,) = (row for row in SEED.turning if row.kind == kind)
        set_up = row.rate_per_h * Decimal(repr(row.setup_min)) / 60
        assert found[part].lot_charge == round(set_up + (finish if kind == "barrel" else 0), 4)


@settings(max_examples=25, deadline=None)
@given(st.floats(12.0, 150.0), st.floats(1.01, 2.5), st.floats(3.0, 60.0))
def test_a_longer_barrel_never_costs_less(length_mm: float, factor: float, bore_mm: float) -> None:
    short, long = (
        mounted(length_mm=length, outer_diameter_mm=64.0, diameter_mm=bore_mm) for length in (length_mm, factor * length_mm)
    )
    assert long.unit_price > short.unit_price


@settings(max_examples=25, deadline=None)
@given(st.floats(4.0, 50.0), st.floats(1.01, 2.0), st.floats(10.0, 300.0))
def test_a_wider_barrel_and_one_for_wider_elements_never_cost_less(bore_mm: float, factor: float, length_mm: float) -> None:
    outer_mm = factor * bore_mm + 3
    usual = mounted(length_mm=length_mm, outer_diameter_mm=outer_mm, diameter_mm=bore_mm)
    assert mounted(length_mm=length_mm, outer_diameter_mm=1.2 * outer_mm, diameter_mm=bore_mm).unit_price > usual.unit_price
    wider = mounted(length_mm=length_mm, outer_diameter_mm=outer_mm, diameter_mm=factor * bore_mm)
    assert wider.unit_price > usual.unit_price


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0045, 0.1), st.sampled_from(METALS))
def test_a_closer_bore_never_costs_less_and_never_makes_a_step(tolerance_mm: float, metal: Metal) -> None:
    usual, closer = (mounted(tolerance_mm=tolerance, material=metal) for tolerance in (tolerance_mm, tolerance_mm / 1.01))
    assert usual.unit_price <= closer.unit_price <= usual.unit_price * Decimal("1.01")


@settings(max_examples=10, deadline=None)
@given(st.integers(1, 5), st.sampled_from(METALS))
def test_a_barrel_for_more_elements_costs_more_and_a_harder_metal_never_less(elements: int, metal: Metal) -> None:
    usual = mounted(elements=elements, material=metal)
    assert mounted(elements=elements + 1, material=metal).unit_price > usual.unit_price
    harder = METALS[METALS.index(metal) :]
    prices = [mounted(elements=elements, material=one).unit_price for one in harder]
    assert prices == sorted(prices)


@settings(max_examples=60, deadline=None)
@given(st.floats(2.0, 240.0), st.sampled_from([("tray", "box"), ("case",), ("stop_plate",)]))
def test_what_is_bought_by_size_never_makes_a_step(diameter_mm: float, kinds: tuple[str, ...]) -> None:
    smaller, larger = bought_parts([Wanted(kinds, 1, diameter, "/x") for diameter in (diameter_mm, 1.01 * diameter_mm)], SEED)
    for name in ("unit_price", "lot_charge"):
        below, above = (float(getattr(part, name)) for part in (smaller, larger))
        assert below <= above <= 1.0301 * below + 1e-4


@pytest.mark.parametrize(
    ("stop", "is_plate"),
    [
        (Stop(after_element=1, distance_mm=0.4, diameter_mm=10.0), True),
        (Stop(after_element=1, distance_mm=-1.0, diameter_mm=10.0), True),
        (Stop(after_element=1, distance_mm=-2.0, diameter_mm=10.0), False),
        (Stop(after_element=1, distance_mm=3.0, diameter_mm=10.0), False),
        (Stop(after_element=0, distance_mm=-5.0, diameter_mm=10.0), True),
        (Stop(after_element=2, distance_mm=5.0, diameter_mm=10.0), True),
        (Stop(after_element=2, distance_mm=-3.0, diameter_mm=10.0), False),
    ],
)
def test_a_stop_is_a_plate_in_the_air_between_rims_and_else_a_rim_that_a_note_names(stop: Stop, is_plate: bool) -> None:
    """Faces of 50 mm fall 1.59 mm to their rims at 25 mm; the gap between them on the axis is 1 mm."""
    found = plan(drawn(make(make_piece(), make_piece(name="L2"), barrel=BARREL), stop=stop))
    plates = [part for part in found.bought_parts if part.name.startswith("stop plate")]
    notes = [note for note in found.findings if note.code == "stop-without-plate"]
    assert (len(plates), len(notes)) == ((1, 0) if is_plate else (0, 1))
    if notes:
        assert "stop = lens edge or barrel land" in notes[0].message


def test_a_stop_in_cement_or_without_a_barrel_is_no_plate_and_said_to_be_none() -> None:
    stop = Stop(after_element=1, distance_mm=0.0, diameter_mm=10.0)
    glued = drawn(make(make_piece(), make_piece(name="L2", radii_mm=(-50.0, 200.0)), cemented=(0,), barrel=BARREL), stop=stop)
    bare = drawn(make(make_piece(), make_piece(name="L2")), stop=stop)
    for made, words in ((glued, "barrel land"), (bare, "without a barrel")):
        found = plan(made)
        assert not [part for part in found.bought_parts if part.name.startswith("stop plate")]
        assert [words in note.message for note in found.findings if note.code == "stop-without-plate"] == [True]


def test_a_lens_without_a_stop_says_nothing_of_one() -> None:
    assert not [note for note in plan(make(make_piece(), barrel=BARREL)).findings if note.code == "stop-without-plate"]


def test_a_shop_that_buys_its_barrels_by_size_pays_the_price_of_its_rows() -> None:
    listed = [
        HardwareRow(
            name=f"barrel to {size:g}", source="a price list", as_of=SEED.hardware[0].as_of, kind="barrel", material="aluminium",
            diameter_up_to_mm=size, lot_charge=Decimal(100), unit_price=Decimal(price), lead_days=20,
        )
        for size, price in ((30.0, 40), (60.0, 70))
    ]  # fmt: skip
    rates = SEED.model_copy(update={"hardware": (*SEED.hardware, *listed)})
    found = plan(make(make_piece(), barrel=BARREL), rates).bought_parts[0]
    assert (found.name, found.unit_price, found.lot_charge) == ("barrel to 60", Decimal("54.0"), Decimal(100))


def test_freight_is_a_line_of_its_own_only_where_the_shop_pays_it() -> None:
    made = make(make_piece(), barrel=BARREL)
    assert "freight" not in parts(made)
    terms = {"freight_terms": "DAP", "freight_per_lot": Decimal(80), "freight_per_kg": Decimal(10)}
    paid = SEED.model_copy(update={"commercial": tuple(row.model_copy(update=terms) for row in SEED.commercial)})
    found = next(part for part in plan(made, paid).bought_parts if part.name.startswith("freight"))
    assert (found.name, found.lot_charge) == ("freight, DAP", Decimal(80))
    glass_g = sum(one.mass_g or 0.0 for one in made.check.elements)
    assert float(found.unit_price) * 100 > glass_g
    heavier = make(make_piece(), barrel=BARREL.model_copy(update={"length_mm": 90.0}))
    assert parts(heavier, paid)["freight"].unit_price > found.unit_price


def test_a_first_article_is_measured_element_by_element_and_recorded_only_where_it_is_asked_for() -> None:
    made = make(make_piece(), make_piece(name="L2"), barrel=BARREL)
    asked = plan(drawn(made, first_article=True)).routes[-1].operations
    usual = plan(made).routes[-1].operations
    (added,) = (one for one in asked if one.method == "first article")
    assert [one for one in asked if one is not added] == list(usual)
    assert [one.operation for one in asked][-2:] == ["inspect", "pack"]
    rows = {row.per: row.minutes for row in SEED.inspection if row.looks_at == "first_article"}
    centre = SEED.work_centre(added.work_centre)
    assert added.setup_min == pytest.approx(centre.setup_min + 2 * rows["piece"] + rows["lot"])


def test_a_first_article_without_a_row_for_it_is_a_rate_missing() -> None:
    rates = SEED.model_copy(update={"inspection": tuple(row for row in SEED.inspection if row.looks_at != "first_article")})
    with pytest.raises(RateMissing, match="first article"):
        plan(drawn(make(make_piece()), first_article=True), rates)


def test_a_metal_without_a_row_is_a_rate_missing() -> None:
    rates = SEED.model_copy(update={"metals": tuple(row for row in SEED.metals if row.name != "aluminium")})
    with pytest.raises(RateMissing, match="aluminium"):
        plan(make(make_piece(), barrel=BARREL), rates)
