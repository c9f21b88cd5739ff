"""The beam against the clear diameters, and the fit of the glass in its barrel."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.prescription.domain.beam import share_passed
from shared_schemas.check import CheckReport

Report = Callable[..., CheckReport]
Change = Callable[[dict[str, Any]], Any]


def whole(**fields: Any) -> Change:
    return lambda lens: lens.update(fields)


def codes(found: CheckReport) -> set[str]:
    return {one.code for one in found.findings}


@given(marginal=st.floats(0.1, 20), semi=st.floats(0.1, 20), chief=st.floats(-40, 40))
def test_a_share_lies_between_none_and_all_and_falls_with_the_field(marginal: float, semi: float, chief: float) -> None:
    near, far = (
        share_passed(marginal_heights_mm=[marginal], chief_heights_mm=[height], semi_diameters_mm=[semi])[0]
        for height in (chief, 1.5 * chief)
    )
    assert 0 <= far <= near + 1e-12 <= 1 + 1e-9


def test_a_chief_ray_on_the_rim_lets_half_of_a_small_pupil_pass() -> None:
    assert share_passed(marginal_heights_mm=[2.0], chief_heights_mm=[10.0], semi_diameters_mm=[10.0]) == (0.5, 0)


def test_two_faces_cut_from_both_sides() -> None:
    share, face = share_passed(marginal_heights_mm=[2.0, 2.0], chief_heights_mm=[9.0, -9.5], semi_diameters_mm=[10.0, 10.0])
    assert share == pytest.approx((0.5 + 0.25) / 2)
    assert face == 1


def test_a_face_in_an_image_of_the_object_passes_all_or_nothing() -> None:
    assert share_passed(marginal_heights_mm=[0.0], chief_heights_mm=[9.0], semi_diameters_mm=[10.0])[0] == 1.0
    assert share_passed(marginal_heights_mm=[0.0], chief_heights_mm=[11.0], semi_diameters_mm=[10.0])[0] == 0.0


def test_a_beam_that_just_fits_is_no_finding(report: Report) -> None:
    found = report(whole(entrance_pupil_diameter_mm=23.0))
    assert "clear-below-beam" not in codes(found)
    wide = report(whole(entrance_pupil_diameter_mm=24.0))
    said = next(one for one in wide.findings if one.code == "clear-below-beam")
    assert (said.figure, said.limit) == (23.0, pytest.approx(24.0))


@pytest.mark.parametrize(
    ("field_deg", "told"), [(30.0, {"field-cut-off"}), (30.1, {"field-not-screened"}), (65.0, {"field-not-screened"})]
)
def test_beyond_thirty_degrees_nothing_is_said_of_what_the_clear_diameters_cut(
    report: Report, field_deg: float, told: set[str]
) -> None:
    stop = {"after_element": 0, "distance_mm": 40.0, "diameter_mm": 4.0}
    checked = report(whole(stop=stop, field_half_angle_deg=field_deg))
    assert codes(checked) & {"vignetting", "field-cut-off", "field-not-screened"} == told


BARREL = {"material": "aluminium", "length_mm": 40.0, "outer_diameter_mm": 34.0}


def three(*diameters_mm: float) -> Change:
    def change(lens: dict[str, Any]) -> None:
        first = lens["elements"][0]
        lens["elements"] = [{**first, "name": f"L{i}", "diameter_mm": wide} for i, wide in enumerate(diameters_mm)]
        lens.update(spaces=[{"gap_mm": 5.0}] * (len(diameters_mm) - 1), barrel=BARREL)

    return change


@pytest.mark.parametrize(
    ("diameters_mm", "goes_in"),
    [((25, 25, 25), True), ((27, 26, 25), True), ((25, 26, 27), True), ((27, 25, 26), True), ((25, 26, 25), False), ((27, 25, 26, 25), False)],
)  # fmt: skip
def test_diameters_may_fall_to_a_waist_and_rise_again(report: Report, diameters_mm: tuple[float, ...], goes_in: bool) -> None:
    assert ("barrel-order" not in codes(report(three(*map(float, diameters_mm))))) == goes_in


def test_a_cemented_group_drops_in_as_one_piece(report: Report) -> None:
    narrow_then_wide = report(three(25.0, 26.0, 26.0), lambda lens: lens["spaces"].__setitem__(0, {"cemented": True}))
    assert "barrel-order" not in codes(narrow_then_wide)


def test_a_good_barrel_has_nothing_against_it(report: Report) -> None:
    assert report(whole(barrel=BARREL)).findings == ()


def test_a_barrel_has_to_reach_from_edge_to_edge_and_better_past_the_vertices(report: Report) -> None:
    # two biconvex lenses of radius 60 and diameter 25: 17 mm between the vertices, 2 x 1.31641 less between the edges
    lengths = {length: codes(report(whole(barrel={**BARREL, "length_mm": length}))) for length in (14.36, 14.37, 16.99, 17.0)}
    assert "barrel-short" in lengths[14.36]
    assert lengths[14.37] == lengths[16.99] == {"barrel-glass-proud"}
    assert lengths[17.0] == set()
