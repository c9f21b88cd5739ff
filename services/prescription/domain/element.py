"""One element: its geometry and demands worked out, and what an estimator says of its shape."""

from __future__ import annotations

import math
from collections.abc import Iterator

from services.optics.body import (
    FLEXIBLE,
    LEAST_CENTRES_APART_MM,
    SLENDER,
    TOO_THIN,
    Body,
    centres_apart_mm,
    diameter_to_thickness,
    edge_thickness_mm,
    least_edge_mm,
    mass_g,
    seat_width_mm,
    semi_diameter_to_radius,
    solid,
)
from services.optics.centring import (
    FINE_EDGE_DIFFERENCE_MM,
    SELF_CENTRING_Z_A,
    centre_of_curvature_offset_mm,
    edge_difference_mm,
    wedge,
    z_a,
)
from services.optics.departure import aspheric_departure
from services.optics.first_order import AFOCAL_POWER_TIMES_LENGTH, curvature_per_mm, focal_length_of_power_mm, lens_power_per_mm
from services.optics.surface import Profile
from services.prescription.domain.bevels import Bevel, bevel, bevel_findings
from services.prescription.domain.demands import ElementDemand, SurfaceDemand
from services.prescription.domain.faces import face_findings
from services.prescription.domain.materials import Material
from services.shop.allowances import NO_EDGE_MM, DiameterAllowance
from shared_schemas.check import ElementCheck, Finding, SurfaceCheck
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Element


def element_check(
    *, element: Element, body: Body, material: Material, index: float, demand: ElementDemand, work_diameter_mm: float,
    focal_length_per_radius: tuple[float | None, float | None] = (None, None),
) -> ElementCheck:  # fmt: skip
    """Every figure of one element. `centring_z` is Z_A for bells as wide as each face's clear diameter.

    `focal_length_per_radius` is what the radii of front and back do to the focal length of the whole lens [mm/mm].
    """
    glass = solid(body=body, height_mm=body.rim_mm)
    volume, focal_mm, tilt = glass.volume_mm3, element_focal_length_mm(element=element, index=index), demand.centring_arcmin
    off_axis = wedge(wedge_arcmin=tilt, diameter_mm=element.diameter_mm, refractive_index=index, focal_length_mm=focal_mm)
    density = material.row.density_g_cm3 if material.row is not None else None
    of_front, of_back = focal_length_per_radius
    front = _surface(body.front, demand.front, tilt, bevel(face=body.front, front=True), of_front)
    back = _surface(body.back, demand.back, tilt, bevel(face=body.back, front=False), of_back)
    return ElementCheck(
        name=element.name,
        glass=material.row.name if material.row is not None else None,
        refractive_index=index,
        work_diameter_mm=work_diameter_mm,
        edge_thickness_mm=edge_thickness_mm(body=body, height_mm=body.rim_mm),
        edge_thickness_at_work_diameter_mm=edge_thickness_mm(body=body, height_mm=work_diameter_mm / 2),
        volume_mm3=volume,
        density_g_cm3=density,
        mass_g=None if density is None else mass_g(volume_mm3=volume, density_g_cm3=density),
        diameter_to_thickness=diameter_to_thickness(
            diameter_mm=element.diameter_mm, centre_thickness_mm=element.centre_thickness_mm
        ),
        centring_z=_z_a(element, body),
        sag_front_mm=front.sag_mm,
        sag_back_mm=back.sag_mm,
        front=front,
        back=back,
        diameter_tolerance_mm=demand.diameter_plus_minus_mm,
        centre_thickness_tolerance_mm=demand.centre_thickness_plus_minus_mm,
        centring_tolerance_arcmin=demand.centring_arcmin,
        glass_quality=demand.glass,
        defaulted=demand.defaulted,
        focal_length_mm=focal_mm,
        centre_of_gravity_mm=glass.centre_of_gravity_mm,
        centres_apart_mm=_centres_apart_mm(element),
        wedge_edge_difference_mm=off_axis.edge_difference_mm,
        wedge_deviation_arcmin=off_axis.deviation_arcmin,
        wedge_decentre_mm=off_axis.decentre_mm,
    )


def element_focal_length_mm(*, element: Element, index: float) -> float | None:
    """Focal length [mm] of an element alone in air; `None` for one without.

    Source: derived.
    """
    front, back = (
        0.0 if radius is None else curvature_per_mm(radius_mm=radius)
        for radius in (element.front.radius_mm, element.back.radius_mm)
    )
    power = lens_power_per_mm(
        refractive_index=index,
        front_curvature_per_mm=front,
        back_curvature_per_mm=back,
        centre_thickness_mm=element.centre_thickness_mm,
    )
    if not abs(power) * element.centre_thickness_mm > AFOCAL_POWER_TIMES_LENGTH:
        return None
    return focal_length_of_power_mm(power_per_mm=power)


def _centres_apart_mm(element: Element) -> float | None:
    front, back = element.front.radius_mm, element.back.radius_mm
    if front is None or back is None:
        return None
    return centres_apart_mm(front_radius_mm=front, back_radius_mm=back, centre_thickness_mm=element.centre_thickness_mm)


def _z_a(element: Element, body: Body) -> float:
    return z_a(body=body, front_bell_mm=element.front.clear_diameter_mm / 2, back_bell_mm=element.back.clear_diameter_mm / 2)


def _surface(
    face: Profile, demand: SurfaceDemand, tilt_arcmin: float, usual: Bevel | None, focal_length_per_radius: float | None
) -> SurfaceCheck:
    surface = face.surface
    radius, aspheric = surface.radius_mm, face.aspheric
    departs = aspheric_departure(surface=surface, semi_diameter_mm=surface.clear_diameter_mm / 2) if aspheric else None
    offset = None if radius is None else centre_of_curvature_offset_mm(tilt_arcmin=tilt_arcmin, radius_mm=radius)
    return SurfaceCheck(
        sag_mm=face.sag_mm(face.worked_mm),
        semi_diameter_mm=face.worked_mm,
        semi_diameter_to_radius=0.0
        if radius is None
        else semi_diameter_to_radius(semi_diameter_mm=face.worked_mm, radius_mm=radius),
        aspheric=aspheric,
        power_fringes=demand.power_fringes,
        irregularity_fringes=demand.irregularity_fringes,
        imperfection_count=demand.imperfection_count,
        imperfection_grade_mm=demand.imperfection_grade_mm,
        planned_grade_mm=demand.planned_grade_mm,
        roughness_nm=demand.roughness_nm,
        micro_defects=demand.micro_defects,
        coating=surface.coating,
        defaulted=demand.defaulted,
        best_fit_radius_mm=departs.best_fit_radius_mm if departs else None,
        aspheric_departure_um=departs.peak_to_valley_um if departs else None,
        aspheric_slope_mrad=departs.slope_mrad if departs else None,
        centre_offset_mm=offset,
        bevel_width_mm=(usual.least_mm, usual.most_mm) if usual else None,
        seat_width_mm=seat_width_mm(rim_mm=face.rim_mm, curved_mm=face.worked_mm),
        focal_length_per_radius=focal_length_per_radius,
    )


def element_findings(
    *, element: Element, body: Body, demand: ElementDemand, allowance: DiameterAllowance | None, pointer: str
) -> Iterator[Finding]:
    """What an estimator says of the shape of an element, of its two faces, of its rim and of the wedge it may have."""
    yield from _edge(element, body, allowance, pointer)
    yield from _thickness(element, pointer)
    yield from face_findings(surface=element.front, face=body.front, name=element.name, pointer=f"{pointer}/front")
    yield from face_findings(surface=element.back, face=body.back, name=element.name, pointer=f"{pointer}/back")
    yield from bevel_findings(body=body, name=element.name, pointer=pointer)
    yield from _axis(element, body, pointer)
    yield from _wedge(element, demand, pointer)


def _wedge(element: Element, demand: ElementDemand, pointer: str) -> Iterator[Finding]:
    allowed = edge_difference_mm(wedge_arcmin=demand.centring_arcmin, diameter_mm=element.diameter_mm)
    if "centring" in demand.defaulted or allowed >= FINE_EDGE_DIFFERENCE_MM:
        return
    wanted = math.ceil(60 * math.degrees(FINE_EDGE_DIFFERENCE_MM / element.diameter_mm) * 100) / 100
    yield finding(
        "wedge-fine", f"{pointer}/tolerances/centring",
        f"The centring of {element.name}, {demand.centring_arcmin:g}', lets its edge differ by {1000 * allowed:.2g} um over {element.diameter_mm:g} mm.",
        figure=allowed, limit=FINE_EDGE_DIFFERENCE_MM, unit="mm", remedy=f"4/{wanted:g}' or looser, where the design allows",
    )  # fmt: skip


def _edge(element: Element, body: Body, allowance: DiameterAllowance | None, pointer: str) -> Iterator[Finding]:
    """A knife edge, finished or on every blank that the rates allow; an edge that only a small allowance leaves; a thin one."""
    finished, where = edge_thickness_mm(body=body, height_mm=body.rim_mm), f"{pointer}/centre_thickness_mm"
    edge, work_mm = finished, element.diameter_mm
    if allowance is not None:
        edge, work_mm = allowance.edge_mm, element.diameter_mm + allowance.taken.allowance_mm
    least = least_edge_mm(diameter_mm=element.diameter_mm)
    remedy = f"a centre thickness of at least {_rounded_up(element.centre_thickness_mm + least - edge):g} mm, or a smaller diameter"
    if finished <= NO_EDGE_MM:
        message = (
            f"{element.name} has a knife edge: at its diameter of {element.diameter_mm:g} mm the edge thickness is {finished:.3f} mm, "
            f"so {-finished:.3f} mm are missing before there is any edge."
        )
        yield finding("edge-knife", where, message, figure=finished, limit=0.0, unit="mm", remedy=remedy)
    elif edge <= NO_EDGE_MM:
        message = (
            f"{element.name} has a knife edge: even at a work diameter of {work_mm:g} mm, the smallest of the rates, the edge thickness "
            f"is {edge:.3f} mm, so {-edge:.3f} mm are missing before there is any edge."
        )
        yield finding("edge-knife", where, message, figure=edge, limit=0.0, unit="mm", remedy=remedy)
    elif allowance is not None and allowance.taken is not allowance.usual:
        yield _small_allowance(element, allowance, least, where, remedy)
    elif edge < least:
        message = (
            f"{element.name} has an edge of {edge:.3f} mm at its work diameter of {work_mm:g} mm; practice asks for {least:g} mm."
        )
        yield finding("edge-thin", where, message, figure=edge, limit=least, unit="mm", remedy=remedy)


def _small_allowance(element: Element, allowance: DiameterAllowance, least_mm: float, where: str, remedy: str) -> Finding:
    usual, taken = allowance.usual.allowance_mm, allowance.taken.allowance_mm
    return finding(
        "allowance-small", where,
        f"{element.name} would have no edge with the usual {usual:g} mm on the diameter ({allowance.usual_edge_mm:.3f} mm); its blank "
        f"gets {taken:g} mm, which leaves an edge of {allowance.edge_mm:.3f} mm; practice asks for {least_mm:g} mm.",
        figure=allowance.edge_mm, limit=least_mm, unit="mm", remedy=remedy,
    )  # fmt: skip


def _rounded_up(length_mm: float) -> float:
    return float(-(-length_mm * 100 // 1) / 100)


def _thickness(element: Element, pointer: str) -> Iterator[Finding]:
    ratio = diameter_to_thickness(diameter_mm=element.diameter_mm, centre_thickness_mm=element.centre_thickness_mm)
    graded = (
        ("element-too-thin", TOO_THIN, "it cannot be blocked and polished without bending out of figure"),
        ("element-flexible", FLEXIBLE, "it bends while it is polished"),
        ("element-slender", SLENDER, "polishing begins to cost more"),
    )
    for code, limit, why in graded:
        if ratio > limit:
            thicker = _rounded_up(element.diameter_mm / limit)
            yield finding(
                code, f"{pointer}/centre_thickness_mm",
                f"{element.name} is {ratio:.1f} times as wide as it is thick at its centre; above {limit:g} {why}.",
                figure=ratio, limit=limit, unit="mm/mm", remedy=f"a centre thickness of at least {thicker:g} mm",
            )  # fmt: skip
            return


def _axis(element: Element, body: Body, pointer: str) -> Iterator[Finding]:
    front, back = element.front.radius_mm, element.back.radius_mm
    if front is None and back is None and not (body.front.aspheric or body.back.aspheric):
        return  # a plate has no axis to centre
    if front is not None and back is not None and front * back > 0:
        apart = centres_apart_mm(front_radius_mm=front, back_radius_mm=back, centre_thickness_mm=element.centre_thickness_mm)
        if apart < LEAST_CENTRES_APART_MM:
            yield finding(
                "faces-concentric", pointer, f"The centres of curvature of {element.name} lie {apart:.3f} mm apart: nearly concentric.",
                figure=apart, limit=LEAST_CENTRES_APART_MM, unit="mm", remedy="other radii, or another centre thickness",
            )  # fmt: skip
    z = _z_a(element, body)
    if z < SELF_CENTRING_Z_A:
        yield finding(
            "centring-by-hand", pointer,
            f"{element.name} has Z_A = {z:.3f} (Z_B = {z / 4:.3f}): it does not centre itself between bell chucks and is centred optically.",
            figure=z, limit=SELF_CENTRING_Z_A, unit="Z_A", remedy="steeper or less alike faces, where the design allows",
        )  # fmt: skip
