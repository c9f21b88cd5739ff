"""Aspheres through all stages: never cheaper nor sooner than their sphere, near to it where they hardly depart, and without cliffs."""

from __future__ import annotations

from typing import Any

import pytest

from tests.chain import singlet
from tests.laws.prices import planned

QUANTITIES = (1, 25, 1000)
ROUNDING = 1.0
"""Prices are rounded to halves, and so may move by a step at either end."""

LENSES: dict[str, dict[str, Any]] = {
    "biconvex of 25 mm": {},
    "meniscus of 40 mm": {"diameter_mm": 40.0, "centre_thickness_mm": 7.0, "front_mm": 60.0, "back_mm": 150.0},
    "plano-convex of 12 mm": {
        "diameter_mm": 12.0,
        "centre_thickness_mm": 3.0,
        "front_mm": 20.0,
        "back_mm": None,
        "glass": "N-SF11",
    },
}


def lens(name: str, *, conics: tuple[float, float] = (0.0, 0.0), fringes: float = 0.5) -> dict[str, Any]:
    """A lens with its faces made conics, and the form of the front held to so many fringes."""
    drawn = singlet(**LENSES[name])
    for face, conic in zip(("front", "back"), conics, strict=True):
        drawn["elements"][0][face]["conic"] = conic
    drawn["elements"][0]["front"]["form"] = f"3/3({fringes:g})"
    return drawn


def cheapest(drawn: dict[str, Any]) -> dict[int, tuple[float, int]]:
    """Price with the charges for tools, and days, at each quantity, made in the way that is chosen for it."""
    of_lens = planned(drawn)
    return {quantity: (of_lens.alone(quantity), of_lens.at(quantity, evened=False).lead_time.p50_days) for quantity in QUANTITIES}


@pytest.mark.parametrize("name", LENSES)
def test_an_asphere_is_never_cheaper_nor_sooner_than_its_sphere_and_a_second_one_adds(name: str) -> None:
    found = [cheapest(lens(name, conics=conics)) for conics in ((0.0, 0.0), (-0.01, 0.0), (-1.0, 0.0), (-4.0, 0.0))]
    for sphere, asphere in ((found[0], one) for one in found[1:]):
        for quantity in QUANTITIES:
            assert asphere[quantity][0] >= sphere[quantity][0]
            assert asphere[quantity][1] >= sphere[quantity][1]
    if LENSES[name].get("back_mm", 1.0) is not None:
        both = cheapest(lens(name, conics=(-4.0, -4.0)))
        assert all(both[quantity][0] > found[3][quantity][0] for quantity in QUANTITIES)


@pytest.mark.parametrize("name", LENSES)
def test_as_the_departure_goes_to_nothing_the_price_goes_to_that_of_the_sphere(name: str) -> None:
    sphere = cheapest(lens(name))
    for conic in (-1e-4, -1e-3):
        near = cheapest(lens(name, conics=(conic, 0.0)))
        for quantity in QUANTITIES:
            assert sphere[quantity][0] <= near[quantity][0] <= 1.003 * sphere[quantity][0] + ROUNDING


@pytest.mark.parametrize("conic", [-0.02, -0.06, -0.1, -0.2, -0.677, -2.0])
def test_a_hundredth_more_departure_moves_no_price_by_more_than_two_hundredths(conic: float) -> None:
    """At 0.677 the face ceases to be one that may be polished as a sphere."""
    name = "biconvex of 25 mm"
    before, after = (cheapest(lens(name, conics=(one, 0.0))) for one in (conic, 1.01 * conic))
    for quantity in QUANTITIES:
        assert before[quantity][0] - ROUNDING <= after[quantity][0] <= 1.02 * before[quantity][0] + ROUNDING


@pytest.mark.parametrize("fringes", [0.15, 0.3, 0.6, 1.2, 3.0])
def test_a_form_a_hundredth_tighter_is_never_cheaper_nor_dearer_by_more_than_three(fringes: float) -> None:
    name = "biconvex of 25 mm"
    wide, tight = (cheapest(lens(name, conics=(-3.0, 0.0), fringes=one)) for one in (fringes, 0.99 * fringes))
    for quantity in QUANTITIES:
        assert wide[quantity][0] - ROUNDING <= tight[quantity][0] <= 1.03 * wide[quantity][0] + ROUNDING


def test_a_lens_turned_round_costs_the_same() -> None:
    drawn = lens("meniscus of 40 mm", conics=(-1.0, 0.0), fringes=1.0)
    element = drawn["elements"][0]
    element["front"]["asphere"] = {"4": 1e-6}
    turned = {**drawn, "elements": [{**element, "front": _turned(element["back"]), "back": _turned(element["front"])}]}
    one, other = cheapest(drawn), cheapest(turned)
    for quantity in QUANTITIES:
        assert other[quantity][0] == pytest.approx(one[quantity][0], rel=0.02)


def _turned(face: dict[str, Any]) -> dict[str, Any]:
    radius = face["radius_mm"]
    terms = {order: -term for order, term in face.get("asphere", {}).items()}
    return {**face, "radius_mm": None if radius is None else -radius, "asphere": terms}
