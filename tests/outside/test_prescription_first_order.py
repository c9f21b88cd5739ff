"""First order, one element and cement against other programs and published figures. The source stands beside each figure."""

from __future__ import annotations

import math
import random
from pathlib import Path
from typing import Any

import pytest
from sympy.physics.optics.gaussopt import CurvedRefraction, FlatRefraction, FreeSpace, GeometricRay, RayTransferMatrix

from services.optics.centring import centre_of_curvature_offset_mm, wedge, wedge_arcmin
from services.optics.departure import aspheric_departure
from services.prescription.domain.cement import film_strain
from services.prescription.domain.check import check_prescription
from shared_schemas.check import FirstOrder
from shared_schemas.prescription import Prescription, Surface
from shared_schemas.rates import Rates

FOLDER = Path(__file__).parent / "prescriptions"


def published(name: str, **more: Any) -> Prescription:
    found = Prescription.model_validate_json((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    return Prescription.model_validate(found.model_dump(mode="json") | more)


def known(value: float | None) -> float:
    assert value is not None
    return value


def random_lens(seed: int) -> dict[str, Any]:
    """A lens of three or four elements of given indices with a stop in one of its spaces."""
    draw = random.Random(seed)
    count = draw.choice((3, 4))

    def face() -> dict[str, Any]:
        return {"radius_mm": draw.choice((-1, 1)) * draw.uniform(40, 300), "clear_diameter_mm": 30.0}

    elements = [
        {"name": f"L{i}", "glass": {"nd": draw.uniform(1.45, 1.9), "vd": 50.0}, "diameter_mm": 32.0,
         "centre_thickness_mm": draw.uniform(3, 9), "front": face(), "back": face() | ({"radius_mm": None} if i == 1 else {})}
        for i in range(count)
    ]  # fmt: skip
    spaces = [{"gap_mm": draw.uniform(4, 20)} for _ in range(count - 1)]
    stop = {"after_element": draw.randint(1, count - 1), "distance_mm": draw.uniform(0.5, 3.5), "diameter_mm": draw.uniform(3, 8)}
    return {"title": "random", "elements": elements, "spaces": spaces, "stop": stop, "field_half_angle_deg": draw.uniform(1, 8)}


def matrices(lens: dict[str, Any]) -> list[RayTransferMatrix]:
    """Every face and way of a lens in turn: 4 n - 1 of them."""
    found: list[RayTransferMatrix] = []
    for i, element in enumerate(lens["elements"]):
        index = element["glass"]["nd"]
        for side, before, after in (("front", 1.0, index), ("back", index, 1.0)):
            radius = element[side]["radius_mm"]
            found.append(FlatRefraction(before, after) if radius is None else CurvedRefraction(radius, before, after))
            if side == "front":
                found.append(FreeSpace(element["centre_thickness_mm"]))
        if i < len(lens["spaces"]):
            found.append(FreeSpace(lens["spaces"][i]["gap_mm"]))
    return found


def product(parts: list[RayTransferMatrix]) -> RayTransferMatrix:
    whole = FreeSpace(0)
    for part in parts:
        whole = part * whole
    return whole


def abcd(matrix: RayTransferMatrix) -> tuple[float, float, float, float]:
    return float(matrix.A), float(matrix.B), float(matrix.C), float(matrix.D)


SEEDS = range(12)


def theirs_and_ours(seed: int, rates: Rates, **more: Any) -> tuple[dict[str, Any], list[RayTransferMatrix], FirstOrder]:
    lens = random_lens(seed) | more
    return lens, matrices(lens), check_prescription(Prescription.model_validate(lens), rates).first_order


@pytest.mark.parametrize("seed", SEEDS)
def test_focal_points_and_principal_planes_are_those_of_sympy(seed: int, rates: Rates) -> None:
    # sympy.physics.optics.gaussopt, ray-transfer matrices; principal planes where a ray of parallel light is at its first height
    _, parts, order = theirs_and_ours(seed, rates)
    a, b, c, d = abcd(product(parts))
    assert (order.focal_length_mm, order.back_focus_mm, order.front_focus_mm) == pytest.approx((-1 / c, -a / c, d / c), rel=1e-9)
    front, back = known(order.principal_plane_front_mm), known(order.principal_plane_back_mm)
    between = FreeSpace(back) * product(parts) * FreeSpace(-front)
    assert float(between.A) == pytest.approx(1.0, abs=1e-9)
    assert float(between.B) == pytest.approx(0.0, abs=1e-7)
    assert float(between.D) == pytest.approx(1.0, abs=1e-9)
    assert b == pytest.approx((a * d - 1) / c, abs=1e-7)


@pytest.mark.parametrize("seed", SEEDS)
def test_pupils_are_images_of_the_stop_in_sympy(seed: int, rates: Rates) -> None:
    # sympy.physics.optics.gaussopt: from the entrance pupil to the stop, and from the stop to the exit pupil, B is zero
    lens, parts, order = theirs_and_ours(seed, rates)
    stop = lens["stop"]
    split, gap = 4 * stop["after_element"] - 1, lens["spaces"][stop["after_element"] - 1]["gap_mm"]
    before = FreeSpace(stop["distance_mm"]) * product(parts[:split])
    behind = product(parts[split + 1 :]) * FreeSpace(gap - stop["distance_mm"])
    entering = before * FreeSpace(-known(order.entrance_pupil_position_mm))
    leaving = FreeSpace(known(order.exit_pupil_position_mm)) * behind
    assert float(entering.B) == pytest.approx(0.0, abs=1e-8)
    assert float(leaving.B) == pytest.approx(0.0, abs=1e-8)
    assert stop["diameter_mm"] / abs(float(entering.A)) == pytest.approx(order.entrance_pupil_diameter_mm)
    assert stop["diameter_mm"] * abs(float(leaving.A)) == pytest.approx(order.exit_pupil_diameter_mm)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("away_mm", [None, 60.0, 900.0])
def test_ray_heights_and_the_image_are_those_of_sympy(seed: int, away_mm: float | None, rates: Rates) -> None:
    # sympy.physics.optics.gaussopt, GeometricRay through every face; the rays aimed at the entrance pupil
    lens, parts, order = theirs_and_ours(seed, rates, object_distance_mm=away_mm)
    place, semi = known(order.entrance_pupil_position_mm), known(order.entrance_pupil_diameter_mm) / 2
    slope, field = (0.0 if away_mm is None else semi / (away_mm + place)), math.tan(math.radians(lens["field_half_angle_deg"]))
    rays = (GeometricRay(semi - place * slope, slope), GeometricRay(-place * field, field))
    for ray, ours in zip(rays, (order.marginal_heights_mm, order.chief_heights_mm), strict=True):
        heights, seen = [], ray
        for i, part in enumerate(parts):
            if i % 2 == 0:
                heights.append(float(seen.height))
            seen = part * seen
        sign = math.copysign(1.0, heights[0] * ours[0])
        assert [sign * height for height in heights] == pytest.approx(list(ours), rel=1e-9, abs=1e-9)
        if ray is rays[0]:
            assert abs(float(seen.angle)) == pytest.approx(order.numerical_aperture)
            assert -float(seen.height / seen.angle) == pytest.approx(order.image_distance_mm)
            if away_mm is not None:
                assert slope / float(seen.angle) == pytest.approx(order.magnification)


def test_the_triplet_of_smith_has_its_published_first_order(rates: Rates) -> None:
    # Smith, Modern Optical Engineering, 4th ed. (2008), p. 118-119: NA 0.1443, Petzval -2.935 f, vertex length 39.08
    order = check_prescription(published("S2"), rates).first_order
    assert order.numerical_aperture == pytest.approx(0.1443, abs=5e-5)
    assert known(order.petzval_radius_mm) / known(order.focal_length_mm) == pytest.approx(-2.935, abs=1e-3)
    assert order.length_mm == pytest.approx(39.08)


def test_the_triplet_of_smith_passes_the_axis_and_cuts_its_published_field(rates: Rates) -> None:
    # Smith, as above: half field 11.86 deg. The image height f tan(11.86 deg) is the chief ray's at the paraxial focus.
    report = check_prescription(published("S2", field_half_angle_deg=11.86), rates)
    order = report.first_order
    chief, back = order.chief_heights_mm[-1], known(order.back_focus_mm)
    height = chief + chief / -known(order.exit_pupil_position_mm) * back
    assert height == pytest.approx(known(order.focal_length_mm) * math.tan(math.radians(11.86)), rel=1e-9)
    assert {one.code for one in report.findings} >= {"vignetting"}
    assert not {"clear-below-beam", "field-cut-off"} & {one.code for one in report.findings}


def test_the_doublet_of_kingslake_is_f_3_at_the_widest_beam_that_passes(rates: Rates) -> None:
    # Kingslake and Johnson, Lens Design Fundamentals, 2nd ed. (2010), p. 41: focal length 12, f/3; no stop is listed
    order = check_prescription(published("K1"), rates).first_order
    assert order.f_number == pytest.approx(3.0, rel=1e-3)
    assert order.entrance_pupil_diameter_mm == pytest.approx(4.0)
    assert "widest axial beam" in order.aperture_from


@pytest.mark.parametrize(
    ("difference", "kelvin", "diameter_mm", "film_mm", "shift_um", "strain"),
    [
        # F2 against N-SK11 (makers' data sheets, 8.2 and 6.5e-6/K); the pair is named in Light, Considerations in
        # Manufacturing Cemented Assemblies (2009), https://studylib.net/doc/18113404/; figures computed independently
        (1.7, 80.0, 25.0, 0.010, 1.70, 0.17),
        # a pair of 74 mm over 30 K that needed a film of 0.16 mm, http://astro.umsystem.edu/atm/ARCHIVES/AUG95/0217.html
        (14.0, 30.0, 74.0, 0.16, 15.5, 0.097),
    ],
)
def test_strain_of_cement(
    difference: float, kelvin: float, diameter_mm: float, film_mm: float, shift_um: float, strain: float
) -> None:
    found = film_strain(
        expansion_difference_1e6_per_k=difference, diameter_mm=diameter_mm, temperature_change_k=kelvin, film_mm=film_mm
    )
    assert found.shift_um == pytest.approx(shift_um, abs=0.05)
    assert found.shear_strain == pytest.approx(strain, abs=5e-4)


def test_one_wedge_in_the_words_of_everyone_who_measures_it() -> None:
    # computed independently: edge difference 0.010 mm over 25 mm, n 1.5168, f 100
    angle = wedge_arcmin(edge_difference_mm=0.010, diameter_mm=25.0)
    found = wedge(wedge_arcmin=angle, diameter_mm=25.0, refractive_index=1.5168, focal_length_mm=100.0)
    assert found.wedge_arcmin == pytest.approx(1.3751, abs=1e-4)
    assert found.edge_difference_mm == pytest.approx(0.010)
    assert found.deviation_arcmin == pytest.approx(0.7107, abs=1e-4)
    assert found.decentre_mm == pytest.approx(0.02067, abs=1e-5)
    # a plano-convex lens of f 100 has R 51.68: its centre of curvature is off by as much, https://spektrum.de/lexikon/optik/dezentrierung/613
    assert centre_of_curvature_offset_mm(tilt_arcmin=angle, radius_mm=51.68) == pytest.approx(0.02067, abs=1e-5)
    # published limit of small spheres, 0.002 mm: https://www.optimaxsi.com/charts/tolerancing-limits/spheres
    assert wedge_arcmin(edge_difference_mm=0.002, diameter_mm=25.0) == pytest.approx(0.275, abs=5e-4)


@pytest.mark.parametrize(("radius_mm", "semi_mm"), [(2000.0, 75.0), (-1200.0, 50.0), (500.0, 10.0)])
def test_a_paraboloid_departs_from_its_nearest_sphere_by_the_mirror_makers_formula(radius_mm: float, semi_mm: float) -> None:
    # Texereau, How to Make a Telescope, from memory: the nearest sphere, meeting vertex and rim, differs by r^4/(32 R^3) at r/sqrt(2)
    surface = Surface(radius_mm=radius_mm, clear_diameter_mm=2 * semi_mm, conic=-1.0)
    found = aspheric_departure(surface=surface, semi_diameter_mm=semi_mm)
    assert found is not None
    assert found.peak_to_valley_um == pytest.approx(1000 * semi_mm**4 / (32 * abs(radius_mm) ** 3), rel=5e-3)
    assert abs(known(found.best_fit_radius_mm)) > abs(radius_mm)
