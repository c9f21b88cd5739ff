"""One element: its edges, volume, steepness and centring, and what an estimator finds in them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from services.prescription.domain.centring import LEAST_Z, centring_z
from services.prescription.domain.edge import edge_thickness_mm, least_edge_mm
from services.prescription.domain.findings import finding
from services.prescription.domain.materials import Material
from services.prescription.domain.sag import Profile, profile_of, reach_mm
from services.prescription.domain.tolerances import ElementDemands, SurfaceDemands
from services.prescription.domain.volume import lens_volume_mm3, mass_g
from shared_schemas.check import ElementCheck, Finding, SurfaceCheck
from shared_schemas.prescription import Element, Surface
from shared_schemas.rates import Rates

STEEP, STEEPEST = 1 / 1.4, 0.98
"""|R| <= 0.7 D is steep; at 0.98 of the radius the clear aperture is a hemisphere for all tools (common practice)."""
THICK, FLEXING = 10.0, 15.0
NEARLY_FLAT_MM = 0.1
CONCENTRIC_MM = 2.0
STAINING_SR = 5.0
SOFT_HK = 400.0
EXPANDING_1E6_PER_K = 10.0


def work_diameter_mm(element: Element, rates: Rates) -> float:
    """Finished diameter and the allowance that centring takes off; the finished one where the rates state no allowance [mm]."""
    for row in rates.allowances:
        if row.kind == "on_diameter" and row.form is None and row.diameter_over_mm < element.diameter_mm <= row.diameter_up_to_mm:
            return element.diameter_mm + row.allowance_mm
    fitting = [
        row.allowance_mm
        for row in rates.allowances
        if row.kind == "on_diameter" and row.diameter_over_mm < element.diameter_mm <= row.diameter_up_to_mm
    ]
    return element.diameter_mm + max(fitting, default=0.0)


def element_check(
    element: Element, *, material: Material, demands: ElementDemands, where: str, rates: Rates
) -> tuple[ElementCheck, list[Finding]]:
    """Geometry and demands of one element, and the findings on it; `where` is its JSON pointer."""
    work_mm = work_diameter_mm(element, rates)
    front = profile_of(element.front, rim_mm=work_mm / 2)
    back = profile_of(element.back, rim_mm=work_mm / 2)
    volume = lens_volume_mm3(
        front=front, back=back, centre_thickness_mm=element.centre_thickness_mm, diameter_mm=element.diameter_mm
    )
    density = material.row.density_g_cm3 if material.row else None

    def edge(diameter_mm: float) -> float:
        return edge_thickness_mm(front=front, back=back, centre_thickness_mm=element.centre_thickness_mm, height_mm=diameter_mm / 2)

    check = ElementCheck(
        name=element.name,
        glass=material.row.name if material.row else None,
        refractive_index=material.index,
        work_diameter_mm=work_mm,
        edge_thickness_mm=edge(element.diameter_mm),
        edge_thickness_at_work_diameter_mm=edge(work_mm),
        volume_mm3=max(volume, 0.0),
        density_g_cm3=density,
        mass_g=mass_g(volume_mm3=max(volume, 0.0), density_g_cm3=density) if density else None,
        diameter_to_thickness=element.diameter_mm / element.centre_thickness_mm,
        centring_z=centring_z(
            front_radius_mm=element.front.radius_mm,
            back_radius_mm=element.back.radius_mm,
            front_bell_mm=element.front.clear_diameter_mm,
            back_bell_mm=element.back.clear_diameter_mm,
        ),
        sag_front_mm=front.sag_mm(element.front.clear_diameter_mm / 2),
        sag_back_mm=back.sag_mm(element.back.clear_diameter_mm / 2),
        front=_surface_check(element.front, front, demands.front),
        back=_surface_check(element.back, back, demands.back),
        diameter_tolerance_mm=demands.diameter_mm,
        centre_thickness_tolerance_mm=demands.centre_thickness_mm,
        centring_tolerance_arcmin=demands.centring_arcmin,
        defaulted=demands.defaulted,
    )
    findings = [*_edge_findings(check, where), *_shape_findings(element, check, where), *_glass_findings(material, where)]
    for face, surface in (("front", element.front), ("back", element.back)):
        findings += _surface_findings(surface, element.diameter_mm, f"{where}/{face}", f"The {face} of {element.name}")
    return check, findings


def _surface_check(surface: Surface, profile: Profile, demands: SurfaceDemands) -> SurfaceCheck:
    semi = surface.clear_diameter_mm / 2
    return SurfaceCheck(
        sag_mm=profile.sag_mm(semi),
        semi_diameter_mm=semi,
        semi_diameter_to_radius=0.0 if surface.radius_mm is None else semi / abs(surface.radius_mm),
        aspheric=not profile.is_spherical,
        power_fringes=demands.power_fringes,
        irregularity_fringes=demands.irregularity_fringes,
        imperfection_count=demands.imperfection_count,
        imperfection_grade_mm=demands.imperfection_grade_mm,
        coating=surface.coating,
        defaulted=demands.defaulted,
    )


def _edge_findings(check: ElementCheck, where: str) -> Iterator[Finding]:
    edge, least = check.edge_thickness_at_work_diameter_mm, least_edge_mm(check.work_diameter_mm)
    thicker = f"a centre thickness {least - edge:.2f} mm larger, or a smaller diameter"
    if edge <= 0:
        yield finding("no_edge", where, f"{check.name} has no edge at its work diameter of {check.work_diameter_mm:g} mm: {edge:.3f} mm.",
                      figure=edge, limit=least, unit="mm", repair=thicker)  # fmt: skip
    elif edge < least:
        yield finding("thin_edge", where, f"The edge of {check.name} is {edge:.3f} mm thick at its work diameter of {check.work_diameter_mm:g} mm.",
                      figure=edge, limit=least, unit="mm", repair=thicker)  # fmt: skip


def _shape_findings(element: Element, check: ElementCheck, where: str) -> Iterator[Finding]:
    ratio = check.diameter_to_thickness
    if ratio > THICK:
        code, limit = ("flexing_element", FLEXING) if ratio > FLEXING else ("thin_element", THICK)
        yield finding(code, where, f"{element.name} is {ratio:.1f} times as wide as thick.", figure=ratio, limit=limit,
                      repair=f"a centre thickness of {element.diameter_mm / limit:.2f} mm or more")  # fmt: skip
    if check.centring_z < LEAST_Z:
        yield finding("hard_to_centre", where, f"Z of {element.name} is {check.centring_z:.3f}; bell chucks need {LEAST_Z}.",
                      figure=check.centring_z, limit=LEAST_Z, repair="stronger or less similar curves; otherwise it is centred optically")  # fmt: skip
    first, second = element.front.radius_mm, element.back.radius_mm
    if first is not None and second is not None and first * second > 0:
        apart = abs(first - second - element.centre_thickness_mm)
        if apart < CONCENTRIC_MM:
            yield finding("concentric", where, f"The centres of curvature of {element.name} are {apart:.2f} mm apart.",
                          figure=apart, limit=CONCENTRIC_MM, unit="mm", repair="radii whose centres lie further apart")  # fmt: skip


def _surface_findings(surface: Surface, diameter_mm: float, where: str, named: str) -> Iterator[Finding]:
    if surface.radius_mm is None:
        return
    reach = reach_mm(radius_mm=surface.radius_mm, conic=surface.conic)
    share = surface.clear_diameter_mm / 2 / reach if math.isfinite(reach) else 0.0
    if share >= STEEPEST:
        yield finding("no_hemisphere", where, f"{named} comes to {share:.1%} of its radius at the clear diameter.", figure=share, limit=STEEPEST,
                      repair=f"a clear diameter below {2 * STEEPEST * reach:.2f} mm")  # fmt: skip
    elif share >= STEEP:
        yield finding("steep_surface", where, f"{named} comes to {share:.1%} of its radius at the clear diameter.", figure=share, limit=STEEP,
                      repair="a longer radius or a smaller clear diameter")  # fmt: skip
    if diameter_mm / 2 > reach:
        yield finding("flat_seat", where, f"{named} ends {reach:.2f} mm from the axis; the element's rim is at {diameter_mm / 2:g} mm.",
                      figure=reach, limit=diameter_mm / 2, unit="mm", repair="state the seat on the drawing")  # fmt: skip
    depth = surface.clear_diameter_mm**2 / 8 / abs(surface.radius_mm)
    if depth <= NEARLY_FLAT_MM and not surface.asphere:
        yield finding("nearly_flat", where, f"{named} is {depth:.3f} mm deep over its clear diameter.", figure=depth, limit=NEARLY_FLAT_MM,
                      unit="mm", repair="a plane, if the design allows")  # fmt: skip


def _glass_findings(material: Material, where: str) -> Iterator[Finding]:
    place = f"{where}/glass"
    if material.not_found is not None:
        names = material.not_found.candidates
        yield finding("unknown_glass", place, f"{str(material.not_found)[0].upper()}{str(material.not_found)[1:]}.",
                      figure=material.not_found.reference, limit="a name in the rates", repair=f"write {' or '.join(names)}" if names else None)  # fmt: skip
        return
    if material.out_of_range is not None:
        yield finding("wavelength", "/wavelength_nm", str(material.out_of_range), figure=material.out_of_range.wavelength_nm,
                      limit="334 to 2325", unit="nm", repair="a wavelength within the range")  # fmt: skip
    row = material.row
    if row is None:
        yield finding("index_only", place, f"A glass of index {material.index:.5f} is checked, but not priced: it has no name in the rates.",
                      figure=material.index, limit="a name in the rates", repair="name the glass")  # fmt: skip
        return
    if row.lead:
        yield finding("lead_glass", place, f"{row.name} contains lead: wet work only, sludge collected apart; check the current rules on lead.",
                      figure=row.name)  # fmt: skip
    if row.acid_sr is not None and row.acid_sr >= STAINING_SR:
        yield finding(
            "stains",
            place,
            f"{row.name} has acid resistance class {row.acid_sr:g}: it stains.",
            figure=row.acid_sr,
            limit=STAINING_SR,
        )
    if row.knoop_hk is not None and row.knoop_hk < SOFT_HK:
        yield finding("soft_glass", place, f"{row.name} has Knoop hardness {row.knoop_hk:g}.", figure=row.knoop_hk, limit=SOFT_HK)
    if row.cte_30_70_1e6_per_k is not None and row.cte_30_70_1e6_per_k > EXPANDING_1E6_PER_K:
        yield finding("expands", place, f"{row.name} expands by {row.cte_30_70_1e6_per_k:g}e-6/K.", figure=row.cte_30_70_1e6_per_k,
                      limit=EXPANDING_1E6_PER_K, unit="1e-6/K")  # fmt: skip
