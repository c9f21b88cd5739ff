"""Published lenses and tables against the check. The source stands beside each figure."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest
from sympy.physics.optics.gaussopt import CurvedRefraction, FreeSpace

from services.optics.body import Body, body, edge_thickness_mm, volume_mm3
from services.optics.centring import clamping_angle_deg, decentre_mm, deviation_arcmin, wedge_arcmin, z_a, z_b
from services.optics.dispersion import C_LINE_NM, F_LINE_NM, formula_of, glass_index
from services.optics.drawing.imperfections import grade_of_round_dig_mm
from services.optics.first_order import Interface, system_matrix
from services.optics.fringes import exact_radius_error_mm, radius_error_mm, sag_error_mm
from services.optics.surface import profile, sag_mm
from services.optics.train import train_of
from services.prescription.domain.check import check_prescription
from shared_schemas.prescription import Prescription, Surface
from shared_schemas.rates import Rates

FOLDER = Path(__file__).parent / "prescriptions"


def lens(name: str) -> Prescription:
    return Prescription.model_validate_json((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def sphere(radius_mm: float | None, clear_mm: float, conic: float = 0.0) -> Surface:
    return Surface(radius_mm=radius_mm, clear_diameter_mm=clear_mm, conic=conic)


def two_faced(front_mm: float | None, back_mm: float | None, thickness_mm: float, diameter_mm: float) -> Body:
    rim = diameter_mm / 2
    front, back = sphere(front_mm, diameter_mm), sphere(back_mm, diameter_mm)
    return Body(profile(surface=front, rim_mm=rim), profile(surface=back, rim_mm=rim), thickness_mm, rim)


@pytest.mark.parametrize(
    ("name", "focal_mm", "back_mm", "share"),
    [
        # Smith, Modern Optical Engineering, 4th ed., p. 118-119; index ids 20347968792 and 838416680 of public sources
        ("S2", 101.181, 77.405, 1e-5),
        # Smith, Modern Lens Design (1992), p. 65
        ("S1", 100.0, 94.931, 1e-4),
        # Kidger, ch. 6 (public script create_store_OPTICAL_SYSTEMs.m)
        ("K3", 100.0, 86.48643, 1e-4),
        # Kingslake and Johnson, Lens Design Fundamentals, p. 41: radii as printed are rounded; back focus computed independently
        ("K1", 12.0, 11.2866, 1e-4),
        # Cooke triplet in a public test, index id 52207328399: last gap; focal length computed independently
        ("K4", 50.0018, 41.2365, 1e-4),
    ],
)
def test_published_focal_length_and_back_focus(name: str, focal_mm: float, back_mm: float, share: float, rates: Rates) -> None:
    order = check_prescription(lens(name), rates).first_order
    assert order.focal_length_mm == pytest.approx(focal_mm, rel=share)
    assert order.back_focus_mm == pytest.approx(back_mm, rel=share)


def test_the_triplet_of_smith_has_its_length_its_petzval_radius_and_aperture(rates: Rates) -> None:
    # Smith, Modern Optical Engineering, 4th ed., p. 118-119: vertex length 39.08, Petzval -2.935 f, NA 0.1443
    order = check_prescription(lens("S2"), rates).first_order
    assert order.focal_length_mm is not None
    assert order.petzval_radius_mm is not None
    assert order.f_number is not None
    assert order.length_mm == pytest.approx(39.08, abs=1e-9)
    assert order.petzval_radius_mm / order.focal_length_mm == pytest.approx(-2.935, abs=1e-3)
    assert 1 / (2 * order.f_number) == pytest.approx(0.1443, abs=1e-4)


def test_the_doublet_of_kingslake_has_its_system_matrix() -> None:
    # public script create_store_OPTICAL_SYSTEMs.m: [0.9404865 0.9390067; -0.0833332 0.9800774], radii rounded in print
    matrix = system_matrix(train_of(lens("K1"), (1.517, 1.649)))
    assert (matrix.a, matrix.b, matrix.d) == pytest.approx((0.9404865, 0.9390067, 0.9800774), abs=2e-5)
    assert matrix.c == pytest.approx(-0.0833332, abs=1e-5)


def test_the_triplet_of_smith_has_its_edges_and_z_factors(rates: Rates) -> None:
    # computed independently at the listed semi-apertures 14.7, 10.8, 11.6: edges 2.5734, 5.5292, 3.7080; Z_A 0.872, 1.100, 0.740
    found = lens("S2")
    edges = [
        edge_thickness_mm(body=body(element=element), height_mm=height)
        for element, height in zip(found.elements, (14.7, 10.8, 11.6), strict=True)
    ]
    assert edges == pytest.approx([2.5734, 5.5292, 3.7080], abs=1e-4)
    assert [e.centring_z for e in check_prescription(found, rates).elements] == pytest.approx([0.872, 1.100, 0.740], abs=5e-4)


@pytest.mark.parametrize(
    ("radius_mm", "conic", "height_mm", "sag"),
    [  # computed independently; the third is R (1 - sqrt(3)/2), the fourth y^2 / 2R
        (50.0, 0.0, 10.0, 1.010205),
        (100.0, 0.0, 25.0, 3.175416),
        (25.0, 0.0, 12.5, 3.349365),
        (100.0, -1.0, 25.0, 3.125),
        (50.0, -2.0, 20.0, 3.851648),
        (50.0, 1.0, 20.0, 4.384472),
    ],
)
def test_sagittas(radius_mm: float, conic: float, height_mm: float, sag: float) -> None:
    assert sag_mm(surface=sphere(radius_mm, 2 * height_mm, conic), height_mm=height_mm) == pytest.approx(sag, abs=1e-6)


def test_volume_of_a_biconvex_lens() -> None:
    # computed independently: 50/-50, centre 6, diameter 25
    assert volume_mm3(body=two_faced(50, -50, 6, 25), height_mm=12.5) == pytest.approx(2170.1, abs=0.1)


@pytest.mark.parametrize(
    ("front_mm", "back_mm", "factor", "angle_deg"),
    [(50.0, -50.0, 1.0, 28.96), (50.0, None, 0.5, 14.48), (50.0, 60.0, 0.0833, 2.45)],
)
def test_z_factors_and_clamping_angles(front_mm: float, back_mm: float | None, factor: float, angle_deg: float) -> None:
    # formula: Karow, Fabrication Methods for Precision Optics (1993), p. 524; figures computed independently
    shape = two_faced(front_mm, back_mm, 6, 25)
    found = z_a(body=shape, front_bell_mm=12.5, back_bell_mm=12.5)
    assert found == pytest.approx(factor, abs=1e-4)
    assert z_b(z_a=found) == found / 4
    assert clamping_angle_deg(body=shape, bell_mm=12.5) == pytest.approx(angle_deg, abs=0.01)


def test_wedge_deviation_and_decentre() -> None:
    # computed independently: edge difference 0.010 over 25 mm, n 1.5168, f 100
    wedge = wedge_arcmin(edge_difference_mm=0.010, diameter_mm=25.0)
    assert wedge == pytest.approx(1.3751, abs=1e-4)
    assert deviation_arcmin(wedge_arcmin=wedge, refractive_index=1.5168) == pytest.approx(0.7107, abs=1e-4)
    assert decentre_mm(deviation_arcmin=0.7107, focal_length_mm=100.0) == pytest.approx(0.02067, abs=1e-5)


@pytest.mark.parametrize(
    ("fringes", "wavelength_nm", "radius_mm", "diameter_mm", "sag_um", "near_mm", "exact_mm"),
    [
        (1, 546.07, 100.0, 50.0, 0.2730, 0.00874, 0.00833),
        (5, 632.8, 50.0, 25.0, 1.5820, 0.05062, 0.04829),
        (3, 546.07, 50.0, 20.0, 0.8191, 0.04096, 0.03975),
    ],
)
def test_fringes_of_sagitta_and_radius(
    fringes: float, wavelength_nm: float, radius_mm: float, diameter_mm: float, sag_um: float, near_mm: float, exact_mm: float
) -> None:
    # same dependence as Saayman, https://scribd.com/document/108948816/Newton-Fringe-Testing; figures computed independently
    assert 1000 * sag_error_mm(fringes=fringes, wavelength_nm=wavelength_nm) == pytest.approx(sag_um, abs=1e-4)
    given = {"fringes": fringes, "radius_mm": radius_mm, "diameter_mm": diameter_mm, "wavelength_nm": wavelength_nm}
    assert radius_error_mm(**given) == pytest.approx(near_mm, abs=1e-5)
    assert exact_radius_error_mm(**given) == pytest.approx(exact_mm, abs=1e-5)


def test_a_round_dig_has_the_grade_of_its_area() -> None:
    # definition of the grade: https://www.honoroptics.com/scratch-numbers-standard/
    assert grade_of_round_dig_mm(diameter_mm=0.40) == pytest.approx(0.354, abs=1e-3)


def test_dispersion_gives_index_and_abbe_number_of_the_data_sheets(rates: Rates) -> None:
    # makers' data sheets, as each row says: nd within 2e-5, vd within 0.06
    in_glass_map = [row for row in rates.glasses if row.in_glass_map is not None]
    assert len(in_glass_map) == len(rates.glasses) - 6
    for row in in_glass_map:
        formula, place = formula_of(row), row.in_glass_map
        assert formula is not None
        assert place is not None
        f, c = (glass_index(row=row, wavelength_nm=line) for line in (F_LINE_NM, C_LINE_NM))
        assert formula.index(587.5618) == pytest.approx(place.nd, abs=2e-5), row.name
        assert (place.nd - 1) / (f - c) == pytest.approx(place.vd, abs=0.06), row.name


@pytest.mark.parametrize("seed", range(6))
def test_the_system_matrix_is_that_of_sympy(seed: int) -> None:
    # sympy.physics.optics.gaussopt, ray transfer matrices in height and angle
    draw = random.Random(seed)
    train, theirs, before = [], None, 1.0
    for i in range(6):
        after = 1.0 if i % 2 else draw.uniform(1.45, 1.9)
        radius, way = draw.choice((-1, 1)) * draw.uniform(15, 200), draw.uniform(0.5, 12)
        train.append(Interface(radius, before, after, way))
        bend = CurvedRefraction(radius, before, after)
        theirs = bend if theirs is None else bend * theirs
        if i < 5:
            theirs = FreeSpace(way) * theirs
        before = after
    ours = system_matrix(train)
    assert theirs is not None
    assert (ours.a, ours.b, ours.c, ours.d) == pytest.approx(tuple(map(float, (theirs.A, theirs.B, theirs.C, theirs.D))), rel=1e-10)
    assert math.isclose(ours.a * ours.d - ours.b * ours.c, 1.0, rel_tol=1e-9)
