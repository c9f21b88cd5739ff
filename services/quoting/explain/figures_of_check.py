"""What lies behind the figures of the check report: the geometry and optics by which prescription works them out.

The check is not worked out again here; each figure is told with its formula and the figures of the request that go into it.
"""

from __future__ import annotations

from typing import NamedTuple

from services.quoting.explain.places import Place
from shared_schemas.figure import Figure

PARAXIAL = "paraxial trace: n'u' = n u - y (n' - n) / R, y' = y + t u' (Kingslake and Johnson, Lens Design Fundamentals)"
DERIVED = "derived from the geometry of the faces"
EXACT = "exact rays by Snell's law at the stated aperture"


class Told(NamedTuple):
    """A formula, where it is from, and the fields of the request, or of the check beside it, that go into it."""

    formula: str
    source: str
    takes: tuple[str, ...] = ()


FIRST_ORDER = {
    "wavelength_nm": Told("as stated; 587.5618 where it is not", "the request"),
    "focal_length_mm": Told("-1 / c of the system matrix", PARAXIAL),
    "back_focus_mm": Told("-a / c of the system matrix, from the last vertex", PARAXIAL),
    "front_focus_mm": Told("d / c of the system matrix, from the first vertex", PARAXIAL),
    "principal_plane_back_mm": Told("(1 - a) / c of the system matrix", PARAXIAL),
    "principal_plane_front_mm": Told("(d - 1) / c of the system matrix", PARAXIAL),
    "f_number": Told(
        "|focal_length_mm| / entrance_pupil_diameter_mm", "definition", ("focal_length_mm", "entrance_pupil_diameter_mm")
    ),
    "length_mm": Told("sum of centre thicknesses and gaps, from the first vertex to the last", DERIVED),
    "entrance_pupil_diameter_mm": Told("as stated, or the stop imaged by the faces before it", PARAXIAL),
    "entrance_pupil_position_mm": Told("b / a of the matrix up to the stop, from the first vertex", PARAXIAL),
    "exit_pupil_diameter_mm": Told("the stop imaged by the faces behind it", PARAXIAL),
    "exit_pupil_position_mm": Told("-b / d of the matrix from the stop on, from the last vertex", PARAXIAL),
    "petzval_radius_mm": Told("-1 / sum of (n' - n) / (n n' R) over the faces", "Smith, Modern Optical Engineering"),
    "numerical_aperture": Told("n'u' of the marginal ray on the image side", PARAXIAL),
    "working_f_number": Told("1 / (2 x numerical_aperture)", "definition", ("numerical_aperture",)),
    "image_distance_mm": Told("-(b + a s) / (d + c s) for an object s in front; the back focus for one far away", PARAXIAL),
    "magnification": Told("1 / (d + c s) for an object s in front; 0 for one far away", PARAXIAL),
    "marginal_heights_mm": Told("height of the marginal ray at each face", PARAXIAL),
    "chief_heights_mm": Told("height of the chief ray of the stated field at each face", PARAXIAL),
    "aperture_from": Told("what limits the beam: the stated pupil, the stop, or the smallest clear diameter", DERIVED),
}
ELEMENT = {
    "refractive_index": Told("dispersion formula or index of the glass, at the wavelength", "rate table glasses", ("glass",)),
    "work_diameter_mm": Told("diameter_mm + on_diameter of the allowances", "rate table allowances", ("diameter_mm",)),
    "edge_thickness_mm": Told(
        "centre_thickness_mm - sag_front_mm + sag_back_mm",
        DERIVED,
        ("centre_thickness_mm", "sag_front_mm", "sag_back_mm", "diameter_mm"),
    ),
    "edge_thickness_at_work_diameter_mm": Told(
        "centre_thickness_mm - sag of the front + sag of the back, at work_diameter_mm", DERIVED, ("centre_thickness_mm",)
    ),
    "volume_mm3": Told(
        "pi x integral of y^2 between the faces; spherical caps in closed form", DERIVED, ("diameter_mm", "centre_thickness_mm")
    ),
    "density_g_cm3": Told("density_g_cm3 of the glass", "rate table glasses", ("glass",)),
    "mass_g": Told("volume_mm3 x density_g_cm3 / 1000", DERIVED, ("volume_mm3", "density_g_cm3")),
    "diameter_to_thickness": Told("diameter_mm / centre_thickness_mm", "common practice", ("diameter_mm", "centre_thickness_mm")),
    "centring_z": Told(
        "|D1 / R1 - D2 / R2| with bell diameters and signed radii", "Karow, Fabrication Methods for Precision Optics, 1993, p. 524"
    ),
    "sag_front_mm": Told("sagitta of the front at half the diameter", DERIVED, ("diameter_mm",)),
    "sag_back_mm": Told("sagitta of the back at half the diameter", DERIVED, ("diameter_mm",)),
    "diameter_tolerance_mm": Told("half the band of the diameter as stated, or the default", "ISO 10110-11 where not stated"),
    "centre_thickness_tolerance_mm": Told("as stated, or the default", "ISO 10110-11 where not stated"),
    "centring_tolerance_arcmin": Told("4/ as stated, or the default", "ISO 10110-6; ISO 10110-11 where not stated"),
    "focal_length_mm": Told("-1 / c of the matrix of the element in air", PARAXIAL),
    "centre_of_gravity_mm": Told("integral of z y^2 / integral of y^2, from the front vertex", DERIVED),
    "centres_apart_mm": Told("|R1 - R2 - centre_thickness_mm|", DERIVED, ("centre_thickness_mm",)),
    "wedge_edge_difference_mm": Told("diameter_mm x centring_tolerance", DERIVED, ("diameter_mm",)),
    "wedge_deviation_arcmin": Told(
        "(refractive_index - 1) x centring_tolerance_arcmin",
        "thin prism, textbook",
        ("refractive_index", "centring_tolerance_arcmin"),
    ),
    "wedge_decentre_mm": Told("focal length x deviation, as an angle", DERIVED),
    "stress_nm_per_cm": Told("0/ as stated, or the default", "ISO 10110-2; ISO 10110-11 where not stated"),
    "bubble_count": Told("1/ as stated, or the default", "ISO 10110-3; ISO 10110-11 where not stated"),
    "bubble_grade_mm": Told("1/ as stated, or the default", "ISO 10110-3; ISO 10110-11 where not stated"),
    "inhomogeneity_class": Told("2/ as stated", "ISO 10110-4"),
    "striae_class": Told("2/ as stated", "ISO 10110-4"),
}
FACE = {
    "sag_mm": Told("c y^2 / (1 + sqrt(1 - (1 + k) c^2 y^2)) + sum of A y^i, at semi_diameter_mm", "ISO 10110-12", ("radius_mm", "conic")),
    "semi_diameter_mm": Told("half the diameter of the element", DERIVED),
    "semi_diameter_to_radius": Told("semi_diameter_mm / reach of the face; y / |R| for a sphere", DERIVED, ("radius_mm", "conic")),
    "power_fringes": Told("3/A as stated, or the default", "ISO 10110-5; ISO 10110-11 where not stated", ("form",)),
    "irregularity_fringes": Told("3/(B) as stated, or the default", "ISO 10110-5; ISO 10110-11 where not stated", ("form",)),
    "imperfection_count": Told("5/N as stated, or the default", "ISO 10110-7; ISO 10110-11 where not stated", ("imperfections",)),
    "imperfection_grade_mm": Told("5/N x A as stated, or the default", "ISO 10110-7; ISO 10110-11 where not stated", ("imperfections",)),
    "best_fit_radius_mm": Told("sphere through the vertex with the least departure, peak to valley", DERIVED, ("radius_mm", "clear_diameter_mm")),
    "aspheric_departure_um": Told("departure from that sphere, peak to valley", DERIVED, ("radius_mm", "clear_diameter_mm")),
    "aspheric_slope_mrad": Told("steepest slope of the departure", DERIVED, ("radius_mm", "clear_diameter_mm")),
    "centre_offset_mm": Told("|R| x centring_tolerance, as an angle", DERIVED, ("radius_mm",)),
    "bevel_width_mm": Told("usual width of a protective bevel by the diameter, least and most", "common practice"),
    "seat_width_mm": Told("(diameter - extent of the curve) / 2", DERIVED, ("clear_diameter_mm",)),
    "focal_length_per_radius": Told("derivative of the focal length of the whole lens by this radius", PARAXIAL, ("radius_mm",)),
    "roughness_nm": Told("limit of Rq as stated", "ISO 10110-8", ("texture",)),
    "micro_defects": Told("micro-defects in 10 mm by the polishing grade", "ISO 10110-8", ("texture",)),
    "coating": Told("as stated", "ISO 10110-9", ("coating",)),
}  # fmt: skip
SPACE = {
    "gap_at_axis_mm": Told("gap_mm as stated; 0 for cement", "the request"),
    "gap_at_clear_mm": Told("gap at the axis - sag of the face before + sag of the face behind, at the clear diameter", DERIVED),
    "gap_at_rim_mm": Told("gap at the axis - sag of the face before + sag of the face behind, at the rim", DERIVED),
    "spacer_length_mm": Told("gap at the axis - sag before + sag behind, each at its circle of contact", DERIVED),
    "spacer_front_contact_mm": Told("midway between clear diameter and rim", "common practice"),
    "spacer_back_contact_mm": Told("midway between clear diameter and rim", "common practice"),
    "mismatch_fringes": Told("difference of the sags over half of 546.07 nm", DERIVED),
    "expansion_difference_1e6_per_k": Told("difference of the expansion of both glasses", "rate table glasses"),
    "film_shift_um": Told("expansion difference x change of temperature x diameter / 2", DERIVED),
    "film_shear_strain": Told("film shift / film thickness", DERIVED),
}
IMAGE = {
    "field_deg": Told("the axis, part of the stated field, and the whole of it", "the request"),
    "rms_spot_mm": Told("RMS radius of the rays at the best focus", EXACT),
    "best_focus_mm": Told("where the RMS radius is least, behind the last vertex", EXACT),
    "from_paraxial_focus_mm": Told("best_focus_mm - paraxial focus", EXACT),
    "rays_lost_share": Told("rays that miss a face or are reflected inside, over all", EXACT),
}


def figure_of_check(place: Place) -> Figure:
    """A figure below /check."""
    head = place.tokens[1]
    if head == "findings":
        finding = place.owner(3)
        return place.figure(
            unit=str(finding.get("unit", "")), formula=finding["message"], source=finding.get("source") or "this finding"
        )
    if head == "elements":
        return _of_element(place)
    if head == "first_order":
        wavelength = place.input("wavelength_nm", "prescription", "wavelength_nm")
        faces = Figure(name="faces", value="radii, thicknesses, glasses", source="the request: /prescription")
        beside = _inputs(place, FIRST_ORDER.get(place.name), ("check", "first_order"))
        return _told(place, FIRST_ORDER, beside or (wavelength, faces))
    return _told(place, {"spaces": SPACE, "images": IMAGE}.get(head, {}), ())


def _of_element(place: Place) -> Figure:
    number = place.tokens[2]
    here, beside = ("prescription", "elements", number), ("check", "elements", number)
    side = place.tokens[3]
    if side in ("front", "back"):
        told = FACE.get(place.name)
        return _told(place, FACE, _inputs(place, told, (*here, side)))
    told = ELEMENT.get(place.name)
    radii = tuple(place.input(f"{face} radius_mm", *here, face, "radius_mm") for face in ("front", "back"))
    return _told(
        place, ELEMENT, (*_inputs(place, told, here, beside), *(radii if told and told.source in (DERIVED, PARAXIAL) else ()))
    )


def _inputs(place: Place, told: Told | None, *owners: tuple[str, ...]) -> tuple[Figure, ...]:
    """What goes into a figure, each from the first of the owners that has it."""
    found = []
    for name in told.takes if told else ():
        owner = next((one for one in owners if name in place.at(*one)), None)
        if owner is not None:
            found.append(place.input(name, *owner, name))
    return tuple(found)


def _told(place: Place, texts: dict[str, Told], inputs: tuple[Figure, ...]) -> Figure:
    told = texts.get(place.name)
    if told is None:
        return place.figure(source="the check of the prescription")
    return place.figure(formula=told.formula, source=told.source, inputs=inputs)
