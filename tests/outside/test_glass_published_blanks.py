"""Blanks and glass codes against figures from outside, the source beside each."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from scipy.integrate import quad

from services.glass.domain.blank.options import blank_shape
from services.optics.body import Body, body, disc_volume_mm3, envelope_mm, under_face
from services.optics.face_glass import area_mm2
from services.optics.surface import Profile, profile, sag_mm
from services.shop.allowances import allowances_for
from shared_schemas.glass_reference import find_glass
from shared_schemas.prescription import Element, Surface
from shared_schemas.rates import GlassRow, Rates


def face(radius_mm: float | None, clear_mm: float = 20.0) -> Surface:
    return Surface(radius_mm=radius_mm, clear_diameter_mm=clear_mm)


def lens(front: Surface, back: Surface, centre_mm: float, diameter_mm: float) -> Body:
    rim = diameter_mm / 2
    return Body(profile(surface=front, rim_mm=rim), profile(surface=back, rim_mm=rim), centre_mm, rim)


# Blank of a lens 25 mm in diameter, 2 mm on the diameter, 0.3 mm on each face. Computed independently from the geometry.
@pytest.mark.parametrize(
    ("front", "back", "centre_mm", "blank_mm"),
    [(50.0, -50.0, 6.0, 6.600), (-50.0, 50.0, 3.0, 7.314), (50.0, None, 5.0, 5.600), (50.0, 60.0, 4.0, 6.138)],
    ids=["biconvex", "biconcave", "plano-convex", "meniscus"],
)
def test_thickness_of_the_blank_of_four_lenses(front: float, back: float | None, centre_mm: float, blank_mm: float) -> None:
    found = envelope_mm(body=lens(face(front), face(back), centre_mm, 25.0), diameter_mm=27.0) + 2 * 0.3
    assert found == pytest.approx(blank_mm, abs=5e-4)


# The triplet of W. J. Smith, Modern Optical Engineering, 4th ed., pp. 118-119 (radii, thicknesses, apertures as published in
# a public script of lens prescriptions, create_store_OPTICAL_SYSTEMs.m). Densities: SCHOTT data sheets of 2018-06-01.
# Blank sizes and masses: computed independently. Columns: glass, radii, centre thickness, finished diameter,
# finished mass [g], blank diameter, blank thickness, blank mass [g], share removed [%].
TRIPLET = [
    ("N-SK4", 37.40, -341.48, 5.9, 30.0, 10.465, 32.0, 6.500, 18.480, 43),
    ("SF2", -42.65, 36.40, 2.5, 22.4, 6.267, 24.4, 6.988, 12.612, 50),
    ("N-SK4", 204.52, -37.05, 5.9, 24.0, 7.571, 26.0, 6.500, 12.199, 38),
]


@pytest.mark.parametrize("drawn", TRIPLET, ids=["L1", "L2", "L3"])
def test_blanks_of_a_published_triplet(
    drawn: tuple[str, float, float, float, float, float, float, float, float, int], rates: Rates
) -> None:
    glass, front_mm, back_mm, centre_mm, diameter_mm, finished_g, blank_diameter_mm, blank_thickness_mm, blank_g, removed = drawn
    density = rates.glass(glass).density_g_cm3
    assert density is not None
    front, back = face(front_mm, diameter_mm), face(back_mm, diameter_mm)
    thickness = 0.6 + envelope_mm(body=lens(front, back, centre_mm, diameter_mm), diameter_mm=blank_diameter_mm)
    assert thickness == pytest.approx(blank_thickness_mm, abs=5e-4)
    mass = disc_volume_mm3(diameter_mm=blank_diameter_mm, thickness_mm=thickness) * density / 1000
    assert mass == pytest.approx(blank_g, abs=1e-3)

    # the finished lens by numerical integration over rings (scipy.integrate.quad), from the same sagittas
    def ring(r: float) -> float:
        return 2 * math.pi * r * (centre_mm + sag_mm(surface=back, height_mm=r) - sag_mm(surface=front, height_mm=r))

    finished, _ = quad(ring, 0, diameter_mm / 2)
    assert finished * density / 1000 == pytest.approx(finished_g, abs=1e-3)
    assert round(100 * (1 - finished_g / mass)) == removed


# The front of the triplet's first element, R 37.40, on a blank 32 mm in diameter: sagitta, glass over the face of a flat disc with
# 0.3 mm on it, and glass over the face of a pressing with 1.0 mm all over it. Computed independently (cap of a sphere).
def test_glass_over_a_face_of_a_disc_and_of_a_pressing() -> None:
    front = profile(surface=face(37.40, 30.0), rim_mm=15.0)
    sag = front.sag_mm(16.0)
    assert sag == pytest.approx(3.5953, abs=5e-5)
    over_mm3 = under_face(front, 16.0).volume_mm3 + disc_volume_mm3(diameter_mm=32.0, thickness_mm=0.3)
    assert over_mm3 == pytest.approx(1662.68, abs=0.01)
    assert area_mm2(face=front, height_mm=16.0) * 1.0 == pytest.approx(844.86, abs=0.01)
    assert disc_volume_mm3(diameter_mm=32.0, thickness_mm=1.0) == pytest.approx(804.25, abs=0.01)


ASPHERE = Surface(radius_mm=40.0, conic=-0.8, asphere={"4": 4e-6, "6": -2e-9}, clear_diameter_mm=28.0)


# Areas of surfaces of revolution and the pressing's volume by scipy.integrate.quad, from our sagittas.
@pytest.mark.parametrize(
    "drawn", [face(37.40, 28.0), face(-60.0, 28.0), face(None, 28.0), ASPHERE], ids=["convex", "hollow", "plane", "asphere"]
)
def test_the_volume_of_a_pressing_by_numerical_integration(drawn: Surface, rates: Rates) -> None:
    element = Element(name="L1", glass="N-BK7", diameter_mm=30.0, centre_thickness_mm=9.0, front=drawn, back=face(-120.0, 28.0))
    whole = body(element=element)

    def ring(r: float) -> float:
        return 2 * math.pi * r * (9.0 + whole.back.sag_mm(r) - whole.front.sag_mm(r))

    def turned(part: Profile, step_mm: float = 1e-6) -> float:
        def zone(r: float) -> float:
            return 2 * math.pi * r * math.hypot(1.0, (part.sag_mm(r + step_mm) - part.sag_mm(r - step_mm)) / (2 * step_mm))

        return float(quad(zone, step_mm, 15.0 - step_mm)[0] + quad(zone, 15.0 + step_mm, 16.0)[0])

    per_face = 1.0
    expected = quad(ring, 0, 15.0)[0] + quad(ring, 15.0, 16.0)[0] + (turned(whole.front) + turned(whole.back)) * per_face
    shape = blank_shape(body=whole, form="pressing", allowances=allowances_for(form="pressing", body=whole, rates=rates))
    assert shape.diameter_mm == 32.0
    assert shape.volume_mm3 == pytest.approx(expected, rel=1e-6)
    disc = blank_shape(body=whole, form="disc", allowances=allowances_for(form="disc", body=whole, rates=rates))
    assert shape.volume_mm3 < disc_volume_mm3(diameter_mm=32.0, thickness_mm=shape.thickness_mm)
    assert shape.envelope_mm == disc.envelope_mm


# Biconvex 50/-50, 6 mm thick, 25 mm in diameter: 2170.1 mm^3, 5.447 g in N-BK7. Computed independently (caps of spheres).
def test_volume_of_a_biconvex_lens_by_numerical_integration_of_our_sagittas() -> None:
    front, back = face(50.0), face(-50.0)

    def ring(r: float) -> float:
        return 2 * math.pi * r * (6.0 + sag_mm(surface=back, height_mm=r) - sag_mm(surface=front, height_mm=r))

    volume, _ = quad(ring, 0, 12.5)
    assert volume == pytest.approx(2170.1, abs=0.1)
    assert volume * 2.51 / 1000 == pytest.approx(5.447, abs=1e-3)


# The volume of a blank against numerical integration (scipy.integrate.quad) over its radius.
@pytest.mark.parametrize(("diameter_mm", "thickness_mm"), [(27.0, 6.6), (1.0, 0.5), (150.0, 40.0)])
def test_volume_of_a_blank_by_numerical_integration(diameter_mm: float, thickness_mm: float) -> None:
    integral, _ = quad(lambda r: 2 * math.pi * r * thickness_mm, 0, diameter_mm / 2)
    assert disc_volume_mm3(diameter_mm=diameter_mm, thickness_mm=thickness_mm) == pytest.approx(integral, rel=1e-12)


# Sagitta of a sphere R 50 at 10 mm: 1.010205; of a paraboloid R 100 at 25 mm: 3.125 exactly. Derived.
def test_sagitta_of_a_sphere_and_of_a_paraboloid() -> None:
    assert sag_mm(surface=face(50.0), height_mm=10.0) == pytest.approx(1.010205, abs=1e-6)
    parabola = Surface(radius_mm=100.0, clear_diameter_mm=50.0, conic=-1.0)
    assert sag_mm(surface=parabola, height_mm=25.0) == pytest.approx(3.125, abs=1e-9)


# Glass codes as printed in the SCHOTT data sheets of 2018-06-01 and the OHARA sheets (open package opticalglass 1.1.1);
# the rule round(1000 (nd - 1)), round(10 vd): https://www.liquisearch.com/glass_code
@pytest.mark.parametrize(
    ("name", "code"),
    [("N-BK7", "517642.251"), ("N-SF6", "805254.337"), ("F2", "620364.360"), ("SF57", "847238.551"), ("S-LAH79", "003283")],
)
def test_glass_codes(name: str, code: str, rates: Rates) -> None:
    row = rates.glass(name)
    assert row.code == code
    index = round(1000 * (row.nd - 1)) % 1000  # the first digit is dropped from nd 2 on
    assert abs(index - int(code[:3])) <= 1
    assert abs(round(10 * row.vd) - int(code[3:6])) <= 1


# SF6 and N-SF6 share 805254; densities 5.18 and 3.37 (same sheets). The nine-digit code tells them apart.
def test_the_same_six_digits_are_not_the_same_glass(rates: Rates) -> None:
    leaded, free = rates.glass("SF6"), rates.glass("N-SF6")
    assert leaded.code[:6] == free.code[:6] == "805254"
    assert (leaded.density_g_cm3, free.density_g_cm3) == (5.18, pytest.approx(3.37, abs=0.005))
    assert (leaded.lead, free.lead) == (True, False)
    match = find_glass("805254", rates)
    assert {"SF6", "N-SF6"} <= {match.row.name, *match.others}


# Grindability classes of the same sheets: N-SF11 HG 4, N-BK7 HG 3. Lead: 18 entries are marked, and two grades that are as heavy, as soft and expand
# as much as a leaded glass (LF5HTi, LLF1HTi).
def test_hardness_and_lead_of_the_sheets(rates: Rates) -> None:
    assert (rates.glass("N-SF11").grindability_hg, rates.glass("N-BK7").grindability_hg) == (4, 3)
    assert sum(row.lead for row in rates.glasses) == 20


# Density, expansion and hardness tell what is melted: a glass that has those of a leaded one to the digit is leaded too.
def test_no_glass_with_the_body_of_a_leaded_one_is_called_free_of_lead(rates: Rates) -> None:
    def melt(row: GlassRow) -> tuple[float | None, ...]:
        return row.density_g_cm3, row.cte_30_70_1e6_per_k, row.knoop_hk, row.young_gpa

    leaded = {melt(row) for row in rates.glasses if row.lead}
    assert [row.name for row in rates.glasses if not row.lead and melt(row) in leaded] == []
    assert rates.glass("LF5HTi").lead
    assert rates.glass("LLF1HTi").lead


WITHOUT_A_PRICE = {"LiF", "IRG22", "IRG24", "IRG26"}
"""Materials that are checked, and not priced before the shop has put a row of its own into stock_forms."""


# Common practice: optical glass costs from some tens up to about 1000 USD per kilogram.
def test_glass_reaches_about_a_thousand_dollars_a_kilogram(rates: Rates) -> None:
    dearest = [max(step.price_per_kg for step in row.prices) for row in rates.stock_forms if row.form == "slab"]
    assert Decimal(900) <= max(dearest) <= Decimal(1100)
    assert Decimal(20) <= min(dearest) <= Decimal(60)
    assert {row.glass for row in rates.stock_forms if row.form in ("slab", "disc")} == {
        row.name for row in rates.glasses
    } - WITHOUT_A_PRICE
