"""Between neighbours: gaps, spacers, cement."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.body import Body
from services.optics.surface import profile
from services.prescription.domain.cement import film_strain
from services.prescription.domain.neighbours import gap_mm, least_gap, spacer
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Surface

Report = Callable[..., CheckReport]


def plate(front_mm: float | None, back_mm: float | None, clear_mm: float = 18.0, rim_mm: float = 10.0) -> Body:
    front, back = (Surface(radius_mm=radius, clear_diameter_mm=clear_mm) for radius in (front_mm, back_mm))
    return Body(profile(surface=front, rim_mm=rim_mm), profile(surface=back, rim_mm=rim_mm), 5.0, rim_mm)


def sphere(radius_mm: float | None) -> Surface:
    return Surface(radius_mm=radius_mm, clear_diameter_mm=18.0)


@given(one=st.floats(11, 500) | st.floats(-500, -11), other=st.floats(11, 500) | st.floats(-500, -11), axial=st.floats(0, 20))
def test_nowhere_is_there_less_air_than_the_least(one: float, other: float, axial: float) -> None:
    before, behind = plate(None, one), plate(other, None)
    least, _ = least_gap(before=before, behind=behind, axial_mm=axial)
    heights = [10.0 * i / 50 for i in range(51)]
    found = min(gap_mm(before=before, behind=behind, axial_mm=axial, height_mm=height) for height in heights)
    assert min(least, axial) <= found + 1e-9


def test_a_spacer_between_planes_is_as_long_as_the_gap_and_touches_midway() -> None:
    ring = spacer(before=plate(None, None), behind=plate(None, None), axial_mm=3.0)
    assert ring is not None
    assert (ring.length_mm, ring.front_contact_mm, ring.back_contact_mm) == (3.0, 19.0, 19.0)


def test_a_spacer_between_convex_faces_is_longer_than_the_gap_and_between_hollow_ones_shorter() -> None:
    convex = spacer(before=plate(None, -50.0), behind=plate(50.0, None), axial_mm=1.0)
    hollow = spacer(before=plate(None, 50.0), behind=plate(-50.0, None), axial_mm=3.0)
    sag = 50 - (50**2 - 9.5**2) ** 0.5
    assert convex is not None
    assert hollow is not None
    assert convex.length_mm == pytest.approx(1 + 2 * sag)
    assert hollow.length_mm == pytest.approx(3 - 2 * sag)
    assert spacer(before=plate(None, 50.0), behind=plate(-50.0, None), axial_mm=1.0) is None


def test_the_report_has_a_figure_for_every_space(report: Report) -> None:
    space = report().spaces[0]
    assert not space.cemented
    assert space.gap_at_axis_mm < space.gap_at_clear_mm < space.gap_at_rim_mm
    assert space.gap_at_clear_mm == pytest.approx(5 + 2 * (60 - (60**2 - 11.5**2) ** 0.5))
    assert space.spacer_length_mm == pytest.approx(5 + 2 * (60 - (60**2 - 12.0**2) ** 0.5))
    assert space.mismatch_fringes is None


@pytest.mark.parametrize(
    ("radius_mm", "code"),
    [(-60.0, None), (-60.05, None), (-60.2, "cement-radii-differ"), (-59.8, "cement-radii-differ"), (-62.0, "cement-radii-far")],
)
def test_cemented_radii_are_equal_within_five_fringes(report: Report, radius_mm: float, code: str | None) -> None:
    def cemented(lens: dict[str, Any]) -> None:
        lens.update(spaces=[{"cemented": True}])
        lens["elements"][1]["front"].update(radius_mm=radius_mm)

    found = report(cemented)
    said = [one for one in found.findings if one.code.startswith("cement-radii")]
    assert [one.code for one in said] == ([code] if code else [])
    # a bulge of 60 mm in a hollow of 60.2 mm touches in its middle
    assert all(("touch at the centre" in one.message) == (abs(radius_mm) > 60.0) for one in said)
    mismatch = found.spaces[0].mismatch_fringes
    assert mismatch is not None
    assert (mismatch > 5) == bool(code)


def test_glasses_of_one_kind_strain_no_film(report: Report) -> None:
    space = report(
        lambda lens: lens.update(spaces=[{"cemented": True}]) or lens["elements"][1]["front"].update(radius_mm=-60.0)
    ).spaces[0]
    assert (space.expansion_difference_1e6_per_k, space.film_shift_um, space.film_shear_strain) == (0.0, 0.0, 0.0)


@given(difference=st.floats(-15, 15), diameter=st.floats(1, 300))
def test_a_film_twice_as_thick_is_sheared_by_half_whichever_glass_expands(difference: float, diameter: float) -> None:
    thin, thick = (
        film_strain(expansion_difference_1e6_per_k=sign * difference, diameter_mm=diameter, film_mm=film)
        for sign, film in ((1, 0.01), (-1, 0.02))
    )
    assert thin.shift_um == thick.shift_um
    assert thin.shear_strain == pytest.approx(2 * thick.shear_strain)
