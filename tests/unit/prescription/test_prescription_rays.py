"""Exact rays: what is lost is marked, never a NaN; parity; pupils; growth."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.rays import (
    SurfaceOnAxis,
    best_focus_mm,
    pupils_of,
    rms_spot_mm,
    spots,
    surfaces_of,
    trace,
    trains_of,
)
from services.optics.trace import Bundle
from shared_schemas.prescription import Prescription


def lens(*radii_mm: float | None, **stated: Any) -> Prescription:
    """Elements 5 mm thick and 20 mm across, 2 mm apart."""
    faces = [{"radius_mm": radius, "clear_diameter_mm": 18.0} for radius in radii_mm]
    elements = [
        {"name": f"L{i}", "glass": "N-BK7", "diameter_mm": 20.0, "centre_thickness_mm": 5.0, "front": front, "back": back}
        for i, (front, back) in enumerate(zip(faces[::2], faces[1::2], strict=True))
    ]
    spaces = [{"gap_mm": 2.0}] * (len(elements) - 1)
    return Prescription.model_validate({"title": "lens", "elements": elements, "spaces": spaces, **stated})


def rays(points: list[list[float]], directions: list[list[float]]) -> Bundle:
    unit = np.array(directions) / np.linalg.norm(directions, axis=1, keepdims=True)
    return Bundle(np.array(points).T[:, None, :].astype(float), unit.T[:, None, :])


def test_a_ray_beside_the_sphere_is_marked_as_missed_and_its_neighbour_arrives() -> None:
    passed = trace(surfaces=[SurfaceOnAxis(10.0, 0.0, 1.5, 20.0)], bundle=rays([[0, 11, -5], [0, 3, -5]], [[0, 0, 1]] * 2))
    assert passed.missed.tolist() == [[True, False]]
    assert passed.arrives.tolist() == [[False, True]]
    assert not passed.reflected.any()
    assert passed.points_mm[:, 0, 0].tolist() == [0, 0, 0]


def test_total_reflection_begins_at_the_critical_angle() -> None:
    critical = np.arcsin(1 / 1.5)
    slants = [[0, np.sin(critical + off), np.cos(critical + off)] for off in (-1e-6, 1e-6)]
    passed = trace(surfaces=[SurfaceOnAxis(None, 0.0, 1.0, 20.0)], bundle=rays([[0, 0, -1]] * 2, slants), index_before=1.5)
    assert passed.arrives.tolist() == [[True, False]]
    assert passed.reflected.tolist() == [[False, True]]


def test_a_ray_that_is_reflected_first_does_not_count_as_missing_a_later_face() -> None:
    faces = [SurfaceOnAxis(None, 0.0, 1.0, 20.0), SurfaceOnAxis(1.0, 1.0, 1.5, 20.0)]
    passed = trace(surfaces=faces, bundle=rays([[0, 0, -1]], [[0, 1, 1]]), index_before=1.6)
    assert passed.reflected.all()
    assert not passed.missed.any()


def test_the_mirror_image_of_a_skew_ray_is_traced_to_the_mirror_image() -> None:
    faces = surfaces_of(lens(40.0, -60.0, 35.0, 90.0), (1.6, 1.7))
    passed = trace(
        surfaces=faces, bundle=rays([[2, 3, -4], [-2, 3, -4], [2, -3, -4]], [[0.1, 0.05, 1], [-0.1, 0.05, 1], [0.1, -0.05, 1]])
    )
    for i, signs in ((1, (-1, 1, 1)), (2, (1, -1, 1))):
        assert passed.points_mm[:, 0, i] == pytest.approx(passed.points_mm[:, 0, 0] * signs, abs=1e-13)
        assert passed.directions[:, 0, i] == pytest.approx(passed.directions[:, 0, 0] * signs, abs=1e-14)


def test_a_conic_written_as_an_even_asphere_bends_rays_as_the_conic_does() -> None:
    c = 1 / 50
    terms = ((4, c**3 / 8), (6, c**5 / 16), (8, 5 * c**7 / 128), (10, 7 * c**9 / 256), (12, 21 * c**11 / 1024))
    bundle = rays([[1, 2, -4], [0, 4, -4], [-3, 3, -4]], [[0.1, 0.05, 1], [0, -0.1, 1], [0, 0, 1]])
    sphere = trace(surfaces=[SurfaceOnAxis(50.0, 0.0, 1.6, 20.0)], bundle=bundle)
    paraboloid = trace(surfaces=[SurfaceOnAxis(50.0, 0.0, 1.6, 20.0, -1.0, terms)], bundle=bundle)
    assert paraboloid.points_mm == pytest.approx(sphere.points_mm, abs=1e-12)
    assert paraboloid.directions == pytest.approx(sphere.directions, abs=1e-12)


def test_an_aspheric_face_that_runs_away_loses_the_ray() -> None:
    wild = SurfaceOnAxis(50.0, 0.0, 1.6, 20.0, 0.0, ((4, 1e3), (20, -1e9)))
    passed = trace(surfaces=[wild], bundle=rays([[0, 9, -4], [0, 0, -4]], [[0, 0, 1]] * 2))
    assert passed.arrives.tolist() == [[False, True]]
    assert np.isfinite(passed.points_mm).all()


def test_plane_windows_leave_parallel_light_parallel_and_have_no_focus() -> None:
    assert best_focus_mm(prescription=lens(None, None), indices=(1.5,)) is None
    assert rms_spot_mm(prescription=lens(None, None), indices=(1.5,)) is None


@pytest.mark.parametrize(
    ("stated", "semi_mm"),
    [
        ({"entrance_pupil_diameter_mm": 7.0}, 3.5),
        ({"stop": {"after_element": 0, "distance_mm": 3.0, "diameter_mm": 6.0}}, 3.0),
        ({"stop": {"after_element": 1, "distance_mm": 1.0, "diameter_mm": 6.0}}, None),
        ({}, 9.0),
    ],
)
def test_the_pupil_is_the_stated_one_else_the_stops_else_the_first_clear_diameter(
    stated: dict[str, Any], semi_mm: float | None
) -> None:
    prescription = lens(60.0, -60.0, 60.0, -60.0, **stated)
    found = pupils_of(prescription=prescription, trains=trains_of(surfaces_of(prescription, (1.5, 1.5))))
    if semi_mm is not None:
        assert found.semi_diameter_mm[0] == pytest.approx(semi_mm)
    else:  # the lens before the stop magnifies it
        assert 3.0 < found.semi_diameter_mm[0] < 4.0


def test_a_diverging_lens_limits_the_first_clear_diameter_by_what_passes_the_others() -> None:
    prescription = lens(-30.0, 30.0, None, None)
    found = pupils_of(prescription=prescription, trains=trains_of(surfaces_of(prescription, (1.6, 1.6))))
    assert 5.0 < found.semi_diameter_mm[0] < 9.0


def test_an_object_at_twice_the_focal_length_is_imaged_at_about_twice_the_focal_length() -> None:
    prescription = lens(100.0, -100.0, object_distance_mm=200.0, entrance_pupil_diameter_mm=4.0)
    found = best_focus_mm(prescription=prescription, indices=(1.5,))
    assert found == pytest.approx(200.0, rel=0.03)
    far, near = (spots(prescription=prescription, indices=(1.5,), fields_deg=(angle,))[0] for angle in (0.0, 2.0))
    assert far.rms_mm is not None
    assert near.rms_mm is not None
    assert far.rms_mm < near.rms_mm


RADII = st.one_of(st.none(), st.floats(10, 1e6), st.floats(-1e6, -10))


@given(
    radii=st.lists(RADII, min_size=2, max_size=10).filter(lambda each: len(each) % 2 == 0),
    index=st.floats(1.3, 4.0),
    field_deg=st.floats(0, 85),
    object_distance_mm=st.one_of(st.none(), st.floats(1e-3, 1e5)),
)
def test_no_prescription_makes_a_nan(
    radii: list[float | None], index: float, field_deg: float, object_distance_mm: float | None
) -> None:
    prescription = lens(*radii, object_distance_mm=object_distance_mm)
    for spot in spots(prescription=prescription, indices=[index] * (len(radii) // 2), fields_deg=(0.0, field_deg)):
        assert 0 <= spot.lost <= 1
        assert (spot.rms_mm is None) == (spot.position_mm is None)
        assert spot.rms_mm is None or spot.rms_mm >= 0
