"""Which elements of a lens are alike, so that they are made as one lot?"""

from __future__ import annotations

from typing import Any

import pytest

from services.optics.seats import alike_elements, bodies_of
from shared_schemas.prescription import Prescription


def element(name: str, front_mm: float | None = 50.0, back_mm: float | None = -50.0, **changes: Any) -> dict[str, Any]:
    faces = {side: {"radius_mm": radius, "clear_diameter_mm": 22.0} for side, radius in (("front", front_mm), ("back", back_mm))}
    return {"name": name, "glass": "N-BK7", "diameter_mm": 25.0, "centre_thickness_mm": 6.0, **faces, **changes}


def alike(*elements: dict[str, Any], spaces: tuple[dict[str, Any], ...] | None = None) -> dict[str, str]:
    between = spaces or ({"gap_mm": 20.0},) * (len(elements) - 1)
    lens = Prescription.model_validate({"title": "a lens", "elements": elements, "spaces": between})
    return alike_elements(prescription=lens, bodies=bodies_of(lens))


def test_equal_elements_are_alike_whatever_they_are_called_and_wherever_they_stand() -> None:
    assert alike(element("L1"), element("L2", -40.0, 40.0), element("L3"), element("L4")) == {"L3": "L1", "L4": "L1"}


@pytest.mark.parametrize(
    "change",
    [
        {"glass": "N-K5"},
        {"centre_thickness_mm": 6.01},
        {"tolerances": {"centring": "4/1'"}},
        {"bubbles": "1/3x0.16"},
        {"front": {"radius_mm": 50.0, "clear_diameter_mm": 22.0, "coating": "ar-single"}},
        {"back": {"radius_mm": -50.0, "clear_diameter_mm": 22.0, "form": "3/3(0.5)"}},
        {"front": {"radius_mm": 50.0, "clear_diameter_mm": 22.0, "asphere": {"4": 1e-5}}},
    ],
)
def test_whatever_is_drawn_otherwise_makes_two_lots(change: dict[str, Any]) -> None:
    assert alike(element("L1"), element("L2", **change)) == {}


def test_an_element_turned_round_is_not_alike() -> None:
    assert alike(element("L1", 50.0, -80.0), element("L2", 80.0, -50.0)) == {}


def test_elements_cemented_at_other_faces_are_not_alike() -> None:
    plate = element("L2", -50.0, 50.0)
    spaces = ({"cemented": True}, {"cemented": True})
    assert alike(element("L1"), plate, element("L3"), spaces=spaces) == {}


def test_elements_of_alike_groups_are_alike() -> None:
    spaces = ({"cemented": True}, {"gap_mm": 9.0}, {"cemented": True})
    doublets = (element("L1"), element("L2", -50.0, None), element("L3"), element("L4", -50.0, None))
    assert alike(*doublets, spaces=spaces) == {"L3": "L1", "L4": "L2"}


def test_a_seat_that_a_neighbour_asks_for_makes_another_body() -> None:
    """A hollow back of R 40 and a front of R 60 touch outside the clear diameter 0.6 mm apart: the hollow face gets a seat."""
    hollow, bulging = (lambda name: element(name, 200.0, 40.0)), (lambda name: element(name, 30.0, None))
    far, near = {"gap_mm": 20.0}, {"gap_mm": 0.6}
    lens = (hollow("L1"), element("L2", 60.0, None), hollow("L3"), bulging("L4"))
    assert alike(*lens, spaces=(far, far, far)) == {"L3": "L1"}
    assert alike(*lens, spaces=(near, far, far)) == {}
