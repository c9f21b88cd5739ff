"""First order: identities of principal planes, pupils and conjugates; what the aperture is taken from."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.first_order import Interface, foci, image, length_mm, system_matrix
from shared_schemas.check import CheckReport

Report = Callable[..., CheckReport]
Change = Callable[[dict[str, Any]], Any]

TRAINS = st.lists(
    st.tuples(st.sampled_from([-1, 1]), st.floats(15, 300), st.floats(1.4, 1.9), st.floats(0.5, 12)), min_size=1, max_size=4
)


def train(rows: list[tuple[int, float, float, float]]) -> tuple[Interface, ...]:
    faces = []
    for sign, radius, index, way in rows:
        faces += [Interface(sign * radius, 1.0, index, way), Interface(-sign * radius * 1.3, index, 1.0, way)]
    return tuple(faces)


def whole(**fields: Any) -> Change:
    return lambda lens: lens.update(fields)


@given(rows=TRAINS)
def test_principal_planes_lie_a_focal_length_from_the_focal_points(rows: list[tuple[int, float, float, float]]) -> None:
    faces = train(rows)
    seen = foci(matrix=system_matrix(faces), length_mm=length_mm(faces))
    if seen is not None:
        scale = abs(seen.focal_length_mm) + abs(seen.back_focus_mm) + abs(seen.front_focus_mm)
        assert seen.principal_plane_back_mm == pytest.approx(seen.back_focus_mm - seen.focal_length_mm, abs=1e-9 * scale)
        assert seen.principal_plane_front_mm == pytest.approx(seen.front_focus_mm + seen.focal_length_mm, abs=1e-9 * scale)


@given(rows=TRAINS, away=st.floats(10, 5000))
def test_object_and_image_keep_the_equation_of_newton(rows: list[tuple[int, float, float, float]], away: float) -> None:
    faces = train(rows)
    matrix = system_matrix(faces)
    seen, imaged = foci(matrix=matrix, length_mm=length_mm(faces)), image(matrix=matrix, object_distance_mm=away)
    if seen is None or imaged is None or abs(imaged.magnification) > 1e3:
        return
    x, x_image = -away - seen.front_focus_mm, imaged.distance_mm - seen.back_focus_mm
    assert x * x_image == pytest.approx(-(seen.focal_length_mm**2), rel=1e-6)
    assert imaged.magnification == pytest.approx(-x_image / seen.focal_length_mm, rel=1e-6, abs=1e-9)


def test_an_object_twice_the_focal_length_before_the_front_principal_plane_is_imaged_life_size(report: Report) -> None:
    order = report().first_order
    assert order.focal_length_mm is not None
    assert order.principal_plane_front_mm is not None
    assert order.principal_plane_back_mm is not None
    away = 2 * order.focal_length_mm - order.principal_plane_front_mm
    near = report(whole(object_distance_mm=away)).first_order
    assert near.magnification == pytest.approx(-1.0)
    assert near.image_distance_mm == pytest.approx(order.principal_plane_back_mm + 2 * order.focal_length_mm)
    assert near.focal_length_mm == order.focal_length_mm


def test_a_far_object_is_imaged_as_one_at_infinity(report: Report) -> None:
    far, infinite = report(whole(object_distance_mm=1e9)).first_order, report().first_order
    assert infinite.magnification == 0.0
    assert far.image_distance_mm == pytest.approx(infinite.image_distance_mm)
    assert infinite.image_distance_mm == infinite.back_focus_mm
    assert far.numerical_aperture == pytest.approx(infinite.numerical_aperture)
    assert far.marginal_heights_mm == pytest.approx(infinite.marginal_heights_mm)


def test_an_object_in_the_front_focus_has_no_image(report: Report) -> None:
    focus = report().first_order.front_focus_mm
    assert focus is not None
    order = report(whole(object_distance_mm=-focus)).first_order
    assert (order.image_distance_mm, order.magnification, order.numerical_aperture) == (None, None, None)


def test_the_aperture_of_image_and_object_differ_by_the_magnification(report: Report) -> None:
    order = report(whole(object_distance_mm=200.0)).first_order
    assert order.magnification is not None
    assert order.numerical_aperture == pytest.approx(order.marginal_heights_mm[0] / 200.0 / abs(order.magnification))
    assert order.working_f_number == pytest.approx(1 / (2 * (order.numerical_aperture or 0)))


def test_without_a_stop_the_aperture_is_the_widest_beam_that_passes_everywhere_and_says_so(report: Report) -> None:
    order = report(
        lambda lens: lens["elements"][1].update(back={**lens["elements"][1]["back"], "clear_diameter_mm": 12.0})
    ).first_order
    assert order.aperture_from == "the widest axial beam that passes every clear diameter, limited by the back of L2"
    assert order.marginal_heights_mm[3] == pytest.approx(6.0)
    assert order.exit_pupil_diameter_mm == pytest.approx(12.0)
    assert order.exit_pupil_position_mm == pytest.approx(0.0)


def test_a_stated_pupil_goes_before_the_clear_diameters_and_before_the_stop(report: Report) -> None:
    alone = report(whole(entrance_pupil_diameter_mm=10.0)).first_order
    assert alone.aperture_from == "the entrance pupil as stated, its stop taken to be the front of L1"
    assert alone.marginal_heights_mm[0] == 5.0
    stop = {"after_element": 1, "distance_mm": 2.0, "diameter_mm": 10.0}
    both = report(whole(entrance_pupil_diameter_mm=10.0, stop=stop)).first_order
    assert both.marginal_heights_mm[0] == pytest.approx(5.0)
    assert both.aperture_from == "the entrance pupil as stated, at the image of the stop"
    assert report(whole(stop=stop)).first_order.aperture_from == "the stop"


def test_the_chief_ray_crosses_the_axis_in_the_stop(report: Report) -> None:
    stop = {"after_element": 1, "distance_mm": 2.0, "diameter_mm": 10.0}
    chief = report(whole(stop=stop, field_half_angle_deg=5.0)).first_order.chief_heights_mm
    assert len(chief) == 4
    assert chief[1] + (chief[2] - chief[1]) * 2.0 / 5.0 == pytest.approx(0.0, abs=1e-12)
    assert report(whole(stop=stop)).first_order.chief_heights_mm == ()


def test_the_invariant_of_marginal_and_chief_ray_is_the_same_before_and_behind(report: Report) -> None:
    stop = {"after_element": 1, "distance_mm": 2.0, "diameter_mm": 10.0}
    order = report(whole(stop=stop, field_half_angle_deg=5.0)).first_order
    assert order.exit_pupil_position_mm is not None
    assert order.numerical_aperture is not None
    chief_angle = order.chief_heights_mm[-1] / -order.exit_pupil_position_mm
    before = math.tan(math.radians(5.0)) * order.marginal_heights_mm[0]
    behind = chief_angle * order.marginal_heights_mm[-1] + order.numerical_aperture * order.chief_heights_mm[-1]
    assert behind == pytest.approx(before)
