"""Laws of the world that every price list keeps, over drawn lenses through the whole chain."""

from __future__ import annotations

import copy
import json
import os
import random
from collections.abc import Callable
from itertools import pairwise

import pytest

from shared_schemas.operations import Tooling
from shared_schemas.rate_rows_of_work import ToolingRow
from shared_schemas.rates import TABLES
from tests.chain import Refused, as_json, demo, published_triplet, quote_of, request_of, singlet
from tests.laws.prices import (
    Prescription,
    changed,
    flipped,
    planned,
    rates,
    singlets,
    toleranced,
    with_faces,
)

DRAWN = int(os.environ.get("LAWS_DRAWN_PRICES", "3"))
"""How many lenses each law is tried on."""
QUANTITIES = (1, 5, 25, 100, 1000)
STEP = 0.5
"""Prices are rounded up to this (`rounding` of the terms): two prices may differ by it and be the same."""
PIECE = 0.01
"""Starts are whole pieces and blocks whole blocks: two lenses that cost alike may differ by this share."""

HARD = singlet()


def lenses(seed: int) -> list[Prescription]:
    """The lenses of a law: the plain singlet of the table, and drawn ones."""
    return [HARD, *singlets(seed=seed, count=DRAWN)]


def no_dearer(less: float, more: float, share: float = PIECE) -> bool:
    """Whether one price is no more than another, but for a step of the rounding and a piece."""
    return less <= more * (1 + share) + STEP


LIST = (
    *range(1, 31),
    39,
    40,
    41,
    49,
    50,
    51,
    75,
    99,
    100,
    101,
    130,
    199,
    200,
    300,
    499,
    500,
    501,
    999,
    1000,
    3000,
    10_000,
    100_000,
)


@pytest.mark.parametrize("lens", [HARD, *singlets(seed=1, count=2)], ids=lambda lens: str(lens["elements"][0]["diameter_mm"]))
def test_more_pieces_are_never_dearer_each_nor_cheaper_in_all(lens: Prescription) -> None:
    of_lens = planned(lens)
    prices = [of_lens.price(quantity) for quantity in LIST]
    for (fewer, dear), (more, cheap) in pairwise(zip(LIST, prices, strict=True)):
        assert cheap <= dear, (fewer, more)
        assert cheap * more >= dear * fewer - STEP * more, (fewer, more)


def test_the_demo_and_the_published_lens_have_even_price_lists() -> None:
    for request in (demo(), published_triplet()):
        of_lens = planned(json.loads(request.prescription.model_dump_json(by_alias=True, exclude_unset=True)))
        prices = [of_lens.price(quantity) for quantity in LIST]
        assert prices == sorted(prices, reverse=True)


@pytest.mark.parametrize("others", [(1,), (25,), (40, 7, 100_000)])
def test_a_price_depends_on_no_other_quantity_asked(others: tuple[int, ...]) -> None:
    lens = json.loads(published_triplet().prescription.model_dump_json(by_alias=True, exclude_unset=True))
    for prescription in (HARD, lens):
        alone, among = (quote_of(request_of(prescription, asked), rates()) for asked in ((12,), (12, *others)))
        fields = ("unit_price", "total_price", "lines", "start_quantities", "materials", "ways", "lead_time", "enough_chance")
        first, second = as_json(alone)["breaks"][0], as_json(among)["breaks"][0]
        assert {name: first[name] for name in fields} == {name: second[name] for name in fields}


TIGHTER: dict[str, Callable[[Prescription, float], Prescription]] = {
    "diameter": lambda lens, by: toleranced(lens, diameter_mm=[0.0, round(-0.03 * by, 6)]),
    "centre thickness": lambda lens, by: toleranced(lens, centre_thickness_mm=round(0.08 * by, 6)),
    "centring": lambda lens, by: toleranced(lens, centring=f"4/{round(2 * by, 6)}'"),
    "irregularity": lambda lens, by: with_faces(lens, form=f"3/3({round(0.5 * by, 6)})"),
    "power": lambda lens, by: with_faces(lens, form=f"3/{round(3 * by, 6)}(0.5)"),
    "imperfections": lambda lens, by: with_faces(lens, imperfections=f"5/3x{round(0.2 * by, 6)}"),
}


@pytest.mark.parametrize("tolerance", TIGHTER)
def test_a_tighter_tolerance_is_never_cheaper_and_a_little_tighter_is_a_little_dearer(tolerance: str) -> None:
    make = TIGHTER[tolerance]
    for lens in lenses(2)[: 2 if DRAWN < 5 else None]:
        for quantity in (5, 25, 300):
            prices = {by: planned(make(lens, by)).price(quantity) for by in (2.0, 1.0, 0.99, 0.95, 0.5)}
            where = (lens["elements"][0], quantity, prices)
            for loose, tight in pairwise(prices.values()):
                assert no_dearer(loose, tight), where
            assert prices[0.99] <= prices[1.0] * 1.03 + STEP, where
            assert prices[0.95] <= prices[1.0] * 1.15 + STEP, where


def test_a_smaller_lens_of_the_same_curves_and_demands_is_never_dearer() -> None:
    for lens in lenses(3):
        element = lens["elements"][0]
        small = copy.deepcopy(lens)
        scaled(small, 0.85)
        if small["elements"][0]["diameter_mm"] < 8:
            continue
        for quantity in QUANTITIES:
            assert no_dearer(planned(small).price(quantity), planned(lens).price(quantity)), (element, quantity)


def scaled(lens: Prescription, by: float) -> None:
    """Diameters and thickness of the first element times a factor; its curves and tolerances stay."""
    element = lens["elements"][0]
    for name in ("diameter_mm", "centre_thickness_mm"):
        element[name] = round(element[name] * by, 4)
    for face in (element["front"], element["back"]):
        face["clear_diameter_mm"] = round(face["clear_diameter_mm"] * by, 4)


def test_an_element_turned_round_costs_the_same() -> None:
    for lens in lenses(4):
        for quantity in QUANTITIES:
            assert planned(flipped(lens)).alone(quantity) == pytest.approx(planned(lens).alone(quantity), rel=0.02)


def pair(lens: Prescription, other: Prescription, gap_mm: float = 3.0) -> Prescription:
    """Two elements behind each other."""
    second = copy.deepcopy(other["elements"][0])
    second["name"] = "L2"
    return {"title": "two", "elements": [lens["elements"][0], second], "spaces": [{"gap_mm": gap_mm}]}


def test_more_elements_are_never_cheaper() -> None:
    for lens, other in pairwise(lenses(5)):
        for quantity in QUANTITIES:
            two = planned(pair(lens, other, 30.0)).price(quantity)
            assert two >= planned(lens).price(quantity)
            assert two >= planned(other).price(quantity)


def aspheric(lens: Prescription, conic: float) -> Prescription:
    """The lens with a conic front."""
    other = copy.deepcopy(lens)
    other["elements"][0]["front"]["conic"] = conic
    return other


@pytest.mark.parametrize("quantity", [1, 5, 25, 100, 1000])
def test_an_asphere_costs_no_less_than_its_sphere_and_comes_to_it_as_the_departure_goes(quantity: int) -> None:
    for lens in (HARD, singlet(diameter_mm=50.0, centre_thickness_mm=12.0, front_mm=60.0, back_mm=None)):
        sphere = planned(lens).alone(quantity)
        prices = [planned(aspheric(lens, conic)).alone(quantity) for conic in (-1e-6, -1e-4, -1e-3, -1e-2, -0.1, -1.0)]
        assert all(price >= sphere * (1 - PIECE) - STEP for price in prices), (sphere, prices)
        assert prices[0] <= sphere * 1.01 + STEP, (sphere, prices)


def test_elements_that_are_alike_are_one_lot() -> None:
    for lens in lenses(6)[:3]:
        two, one = planned(pair(lens, lens, 30.0)).at(25, evened=False), planned(lens).at(50, evened=False)
        assert two.plan.started.keys() == {"L1", "lens"}
        assert two.plan.started["L1"] == pytest.approx(one.plan.started["L1"], abs=3)
        costs = [float(sum(cost.amount for cost in each.operations["L1"])) / each.plan.started["L1"] for each in (two, one)]
        assert costs[0] == pytest.approx(costs[1], rel=0.05)


def test_with_more_confidence_no_lot_is_started_less_and_nothing_gets_cheaper() -> None:
    for lens in lenses(7)[:3]:
        for quantity in QUANTITIES:
            plans = [planned(lens, confidence=confidence).at(quantity, evened=False) for confidence in (0.6, 0.8, 0.9, 0.95)]
            for less, more in pairwise(plans):
                assert all(number <= more.plan.started[part] for part, number in less.plan.started.items())
                assert less.costs.total - less.costs.losses <= more.costs.total - more.costs.losses


@pytest.mark.parametrize("glass", ["S-FPL53", "N-FK51A", "CaF2"])
def test_a_delicate_material_is_never_quicker_work_than_an_ordinary_one(glass: str) -> None:
    for lens in (HARD, singlet(diameter_mm=12.0, centre_thickness_mm=3.0, front_mm=20.0, back_mm=None)):
        for quantity in (5, 25, 100):
            work = [
                float(planned(changed(lens, glass=name)).at(quantity, evened=False).costs.operations) for name in ("N-BK7", glass)
            ]
            assert work[0] <= work[1], (glass, quantity)


def test_the_glass_billed_is_the_glass_routed() -> None:
    asked = [request_of(lens, (1, 5, 25, 100, 1000, 10_000)) for lens in lenses(8)[:5]]
    for request in (*asked, demo(), published_triplet()):
        quote = quote_of(request, rates())
        for one in quote.breaks:
            changed_blanks = {blank.element: blank for blank in one.blanks}
            changed_routes = {route.part: route for route in one.routes}
            for element in quote.elements:
                blank = changed_blanks.get(element.name, element.blank)
                operations = changed_routes[element.name].operations if element.name in changed_routes else element.operations
                done = {operation.operation for operation in operations}
                assert one.ways.get(element.name, {}).get("blank", blank.form) == blank.form
                assert ("press_blank" in done) == (blank.form == "pressing")
                assert ("core" in done) <= (blank.form in ("slab", "strip", "disc"))
    for lens in lenses(8)[:5]:
        of_lens = planned(lens)
        for quantity in (1, 5, 25, 100, 1000, 10_000):
            evaluation = of_lens.at(quantity, evened=False)
            billed = {bought.step.form for material in evaluation.materials for bought in material.bought}
            assert billed == {blank.form for blank in evaluation.made.blanks.values()}


def owned(tooling: tuple[Tooling, ...]) -> tuple[ToolingRow, ...]:
    """The tools that an order has paid for, as the shop owns them afterwards."""
    rows = []
    for place, tool in enumerate(tooling):
        kind = next(
            (
                name
                for name in ("radius tool", "test plate", "block", "centring chuck", "coating fixture")
                if tool.name.startswith(name)
            ),
            None,
        )
        if kind is None:
            continue
        size = float(tool.name.removeprefix(kind).removesuffix("mm").strip())
        at = "radius_mm" if kind in ("radius tool", "test plate", "block") else "diameter_mm"
        like = next(row for row in rates().tooling if row.owned and row.kind == kind.replace(" ", "_"))
        rows.append(like.model_copy(update={"name": f"repeat {place}", "radius_mm": None, "diameter_mm": None, at: size}))
    return tuple(rows)


def test_a_repeat_order_with_its_tools_in_hand_is_not_dearer() -> None:
    for lens in lenses(9)[:4]:
        first = quote_of(request_of(lens, (5, 25)), rates())
        tools = tuple(tool for one in first.breaks for tool in (first.tooling if one.tooling is None else one.tooling))
        with_tools = rates().model_copy(update={"tooling": (*rates().tooling, *owned(tools))})
        again = quote_of(request_of(lens, (5, 25)), with_tools)
        for before, after in zip(first.breaks, again.breaks, strict=True):
            charges = [
                sum(tool.charge for tool in (quote.tooling if one.tooling is None else one.tooling))
                for quote, one in ((first, before), (again, after))
            ]
            assert float(after.total_price + charges[1]) <= float(before.total_price + charges[0]) + STEP * after.quantity


def test_rates_in_another_order_give_the_same_quote() -> None:
    shuffle = random.Random("rates")
    tables = {name: tuple(shuffle.sample(getattr(rates(), name), len(getattr(rates(), name)))) for name in TABLES}
    other = rates().model_copy(update=tables)
    for request in (demo(), request_of(HARD, (1, 25, 1000))):
        assert quote_of(request, other).model_dump_json() == quote_of(request, rates()).model_dump_json()


@pytest.mark.parametrize("quantity", [5, 25])
def test_a_lens_that_cannot_be_made_has_no_price_at_any_quantity(quantity: int) -> None:
    with pytest.raises(Refused):
        quote_of(request_of(with_faces(HARD, form="3/3(0.01)"), (quantity,)), rates())
