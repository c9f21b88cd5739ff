"""Figures that a report states and other rooms rest on, worked out by hand: what a barrel holds, what would let the beam pass."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from services.optics.body import body
from services.optics.seats import gap_mm
from services.prescription.domain.barrel_fit import held_length_mm
from services.prescription.domain.beam import share_passed
from services.prescription.domain.neighbours import spacer
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Prescription
from tests.unit.prescription.conftest import good_lens


def sag(radius_mm: float, height_mm: float) -> float:
    return radius_mm - math.copysign(math.sqrt(radius_mm**2 - height_mm**2), radius_mm)


def lens(front_mm: float, back_mm: float) -> Prescription:
    """The good lens with another first and last face."""
    document = good_lens()
    first, last = document["elements"]
    document["elements"] = [
        {**first, "front": {**first["front"], "radius_mm": front_mm}},
        {**last, "back": {**last["back"], "radius_mm": back_mm}},
    ]
    return Prescription.model_validate(document)


@pytest.mark.parametrize(("front_mm", "back_mm"), [(50.0, -40.0), (-50.0, 40.0), (50.0, 40.0)])
def test_a_barrel_holds_from_the_front_edge_of_the_first_to_the_back_edge_of_the_last(front_mm: float, back_mm: float) -> None:
    prescription = lens(front_mm, back_mm)
    bodies = [body(element=element) for element in prescription.elements]
    expected = 6.0 + 5.0 + 6.0 - sag(front_mm, 12.5) + sag(back_mm, 12.5)
    assert held_length_mm(prescription=prescription, bodies=bodies) == pytest.approx(expected)


def test_air_and_spacer_between_two_faces_follow_both_of_them() -> None:
    prescription = lens(50.0, -40.0)
    before, behind = (body(element=element) for element in prescription.elements)
    assert gap_mm(before=before, behind=behind, axial_mm=5.0, height_mm=8.0) == pytest.approx(
        5.0 - sag(-60.0, 8.0) + sag(60.0, 8.0)
    )
    ring = spacer(before=before, behind=behind, axial_mm=5.0)
    contact = (11.5 + 12.5) / 2
    assert ring is not None
    assert ring.front_contact_mm == ring.back_contact_mm == pytest.approx(2 * contact)
    assert ring.length_mm == pytest.approx(5.0 - sag(-60.0, contact) + sag(60.0, contact))


@pytest.mark.parametrize(
    ("marginal", "chief", "semis", "share", "face"),
    [
        ((5.0, 4.0), (0.0, 0.0), (6.0, 5.0), 1.0, 0),
        ((5.0, 4.0), (0.0, 3.0), (6.0, 5.0), 0.75, 1),
        ((5.0, 5.0), (2.0, 3.0), (6.0, 6.0), 0.8, 1),
        ((0.0, 4.0), (7.0, 0.0), (6.0, 5.0), 0.0, 0),
    ],
)
def test_a_face_passes_the_part_of_the_pupil_that_lies_within_it(
    marginal: tuple[float, ...], chief: tuple[float, ...], semis: tuple[float, ...], share: float, face: int
) -> None:
    passed, cuts = share_passed(marginal_heights_mm=marginal, chief_heights_mm=chief, semi_diameters_mm=semis)
    assert (passed, cuts) == (pytest.approx(share), face)


def test_where_the_field_is_cut_the_clear_diameter_that_passes_it_is_named(report: Callable[..., CheckReport]) -> None:
    def cut(document: dict[str, Any]) -> None:
        document["stop"] = {"after_element": 1, "distance_mm": 1.0, "diameter_mm": 10.0}
        document["field_half_angle_deg"] = 14.0
        document["elements"][1]["back"]["clear_diameter_mm"] = 9.0

    told = report(cut)
    (vignetted,) = (one for one in told.findings if one.code in ("vignetting", "field-cut-off"))
    order = told.first_order
    wanted = 2 * (abs(order.marginal_heights_mm[3]) + abs(order.chief_heights_mm[3]))
    assert f"{wanted:.4g} mm" in str(vignetted.model_dump())


def test_a_size_of_just_the_least_that_is_held_is_no_size_too_small(report: Callable[..., CheckReport]) -> None:
    def of(size_mm: float) -> Callable[[dict[str, Any]], None]:
        return lambda document: document["elements"][0].update(centre_thickness_mm=size_mm)

    assert "size-unmakeable" not in {one.code for one in report(of(0.05)).findings}
    assert "size-unmakeable" in {one.code for one in report(of(0.0499)).findings}
