"""The demo lens is a lens: it validates, it focuses, its parts fit into one another."""

from __future__ import annotations

from math import asin, atan2, cos, sin, sqrt, tan
from pathlib import Path

import pytest

from shared_schemas.prescription import Element, Prescription, Surface
from shared_schemas.quote_request import QuoteRequest

ND = {"N-SK5": 1.58913, "N-SF2": 1.64769, "N-SK16": 1.62041, "N-SF5": 1.67271}
"""SCHOTT, data sheets of optical glass, 2018: index at 587.5618 nm."""

Face = tuple[float, float, float]
"""Radius [mm], way to the next face [mm], index behind."""


def radius(surface: Surface) -> float:
    assert surface.radius_mm is not None
    return surface.radius_mm


def faces(lens: Prescription) -> list[Face]:
    found = []
    for i, element in enumerate(lens.elements):
        gap = lens.spaces[i].gap_mm if i < len(lens.spaces) else 0.0
        found.append((radius(element.front), element.centre_thickness_mm, ND[str(element.glass)]))
        if gap is not None:
            found.append((radius(element.back), gap, 1.0))
    return found


def paraxial(surfaces: list[Face]) -> tuple[float, float]:
    """Focal length and back focus [mm], by n'u' = nu - y(n' - n)/R and y' = y + tu'."""
    y, u, n, at_last = 1.0, 0.0, 1.0, 1.0
    for r, way, behind in surfaces:
        u = (n * u - y * (behind - n) / r) / behind
        at_last, n, y = y, behind, y + way * u
    return -1.0 / u, -at_last / u


def real_back_focus(surfaces: list[Face], height_mm: float) -> float:
    """Where a real ray, parallel to the axis at `height_mm`, crosses it behind the last vertex [mm]."""
    z, y, slope, n = 0.0, height_mm, 0.0, 1.0
    for r, way, behind in surfaces:
        across = (z - r) * sin(slope) - y * cos(slope)  # the ray's distance from the centre of curvature, signed
        along = (r - z) * cos(slope) - y * sin(slope) - (1 if r > 0 else -1) * sqrt(r * r - across * across)
        z, y = z + along * cos(slope), y + along * sin(slope)
        normal = atan2(-y / r, (r - z) / r)
        slope = normal + asin(n / behind * sin(slope - normal))
        z, n = z - way, behind
    return surfaces[-1][1] + z - y / tan(slope)


def sag(surface: Surface, height_mm: float) -> float:
    r = radius(surface)
    return r - (1 if r > 0 else -1) * sqrt(r * r - height_mm * height_mm)


def edge_mm(element: Element, diameter_mm: float) -> float:
    return element.centre_thickness_mm - sag(element.front, diameter_mm / 2) + sag(element.back, diameter_mm / 2)


def test_the_file_is_a_quote_request_for_three_quantities(demo_path: Path) -> None:
    request = QuoteRequest.model_validate_json(demo_path.read_text(encoding="utf-8"))
    assert request.quantities == (5, 25, 100)
    assert [len(group) for group in request.prescription.cemented_groups()] == [2, 1, 2, 1]


def test_focal_length_and_aperture_are_those_of_the_title(demo_request: QuoteRequest) -> None:
    lens = demo_request.prescription
    focal_length, back_focus = paraxial(faces(lens))
    assert "f = 80 mm, f/3.2" in lens.title
    assert focal_length == pytest.approx(80.0, abs=0.05)
    assert back_focus == pytest.approx(78.46, abs=0.01)
    assert lens.entrance_pupil_diameter_mm is not None
    assert focal_length / lens.entrance_pupil_diameter_mm == pytest.approx(3.2, abs=0.005)


@pytest.mark.parametrize("height_mm", [0.01, 3.0, 6.0, 8.84, 11.0, 12.5])
def test_real_rays_meet_where_the_paraxial_ones_do(height_mm: float, demo_request: QuoteRequest) -> None:
    surfaces = faces(demo_request.prescription)
    miss_mm = real_back_focus(surfaces, height_mm) - paraxial(surfaces)[1]
    assert abs(miss_mm) * height_mm / 80 < 0.004  # lateral, at the paraxial focus


@pytest.mark.parametrize("position", range(6))
def test_every_edge_is_whole_two_millimetres_beyond_the_diameter(position: int, demo_request: QuoteRequest) -> None:
    element = demo_request.prescription.elements[position]
    assert edge_mm(element, element.diameter_mm + 2) > 2.0
    assert element.diameter_mm / element.centre_thickness_mm < 10


@pytest.mark.parametrize("position", range(6))
def test_every_element_centres_itself_in_a_bell_chuck(position: int, demo_request: QuoteRequest) -> None:
    # Z = |D/R1 - D/R2| above 0.56: Karow, Fabrication Methods for Precision Optics, Wiley 1993, p. 524
    element = demo_request.prescription.elements[position]
    assert abs(element.diameter_mm / radius(element.front) - element.diameter_mm / radius(element.back)) > 0.56


def test_cemented_faces_share_a_radius_and_carry_no_coating_and_air_faces_carry_one(demo_request: QuoteRequest) -> None:
    lens = demo_request.prescription
    cemented = set()
    for i, space in enumerate(lens.spaces):
        if space.cemented:
            left, right = lens.elements[i].back, lens.elements[i + 1].front
            assert left.radius_mm == right.radius_mm
            cemented |= {(i, "back"), (i + 1, "front")}
    for i, element in enumerate(lens.elements):
        for face, surface in (("front", element.front), ("back", element.back)):
            assert (surface.coating is None) == ((i, face) in cemented)


def test_neighbours_and_stop_do_not_touch(demo_request: QuoteRequest) -> None:
    lens = demo_request.prescription
    for i, space in enumerate(lens.spaces):
        if space.gap_mm is not None:
            left, right = lens.elements[i], lens.elements[i + 1]
            height = min(left.diameter_mm, right.diameter_mm) / 2
            assert space.gap_mm - sag(left.back, height) + sag(right.front, height) > 0.5
    stop = lens.stop
    assert stop is not None
    behind, ahead = lens.elements[stop.after_element - 1].back, lens.elements[stop.after_element].front
    gap = lens.spaces[stop.after_element - 1].gap_mm
    assert gap is not None
    assert sag(behind, stop.diameter_mm / 2) + 0.5 < stop.distance_mm < gap + sag(ahead, stop.diameter_mm / 2) - 0.5
