"""The demo lens is a lens: it validates, it focuses, its parts fit."""

from __future__ import annotations

from math import asin

import pytest

from shared_schemas.prescription import Prescription
from shared_schemas.quote import QuoteRequest
from shared_schemas.rates import Rates


def faces(lens: Prescription, rates: Rates) -> list[tuple[float, float, float]]:
    """Curvature [1/mm], way to the next face [mm] and index behind, for each face of the lens."""
    found = []
    for i, element in enumerate(lens.elements):
        space = lens.spaces[i] if i < len(lens.spaces) else None
        index = rates.glass(str(element.glass)).nd
        assert element.front.radius_mm is not None
        assert element.back.radius_mm is not None
        found.append((1 / element.front.radius_mm, element.centre_thickness_mm, index))
        if space is None or not space.cemented:
            found.append((1 / element.back.radius_mm, (space.gap_mm if space and space.gap_mm else 0.0), 1.0))
    return found


def focus(surfaces: list[tuple[float, float, float]], height_mm: float) -> tuple[float, float]:
    """Focal length and back focus [mm] of a ray at a small height, by n'u' = nu - y(n' - n)c and y' = y + tu'."""
    y, u, n = height_mm, 0.0, 1.0
    for curvature, way, behind in surfaces:
        u = (n * u - y * (behind - n) * curvature) / behind
        last, n, y = y, behind, y + way * u
    return -height_mm / u, -last / u


def real_crossing(surfaces: list[tuple[float, float, float]], height_mm: float) -> float:
    """Where a real meridional ray crosses the axis behind the last face [mm]; angle and intercept form."""
    z, y, slope, n = 0.0, height_mm, 0.0, 1.0
    for curvature, way, behind in surfaces:
        radius = 1 / curvature
        q = z * _sin(slope) + y * _cos(slope)
        incidence = asin(q / radius - _sin(slope)) if abs(radius) > 0 else 0.0
        refracted = asin(n / behind * _sin(incidence))
        turned = slope + incidence - refracted
        q_behind = radius * (_sin(refracted) + _sin(turned))
        z, y, slope, n = -way, q_behind / _cos(turned), turned, behind
        y = q_behind / _cos(turned)
        z = -way
        # the ray's intercept in the plane of this vertex, carried on to the next vertex
        y -= way * _sin(turned) / _cos(turned)
        z = 0.0
    return y / (_sin(slope) / _cos(slope)) + 0.0


def _sin(angle: float) -> float:
    from math import sin  # noqa: PLC0415

    return sin(angle)


def _cos(angle: float) -> float:
    from math import cos  # noqa: PLC0415

    return cos(angle)


def test_the_focal_length_is_the_one_in_the_title(demo_request: QuoteRequest, rates: Rates) -> None:
    lens = demo_request.prescription
    focal_length, back_focus = focus(faces(lens, rates), 1.0)
    assert "f = 80 mm, f/3.2" in lens.title
    assert focal_length == pytest.approx(80.016, abs=0.005)
    assert back_focus == pytest.approx(78.456, abs=0.005)
    assert lens.entrance_pupil_diameter_mm is not None
    assert focal_length / lens.entrance_pupil_diameter_mm == pytest.approx(3.2, abs=0.01)
