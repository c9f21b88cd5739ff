"""Why the figures of one element are what they are: each from the law that gave it, down to the drawing and the rates.

Pointers are those of a quote, in which the check report stands at `/check`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from services.optics.body import (
    Body,
    centre_of_gravity_mm,
    centres_apart_mm,
    diameter_to_thickness,
    edge_thickness_mm,
    mass_g,
    moment_of_body_mm4,
    seat_width_mm,
    semi_diameter_mm,
    semi_diameter_to_radius,
    thickness_at_mm,
    under_face,
)
from services.optics.body import between_faces_mm3 as volume_between_mm3
from services.optics.centring import (
    centre_of_curvature_offset_mm,
    decentre_mm,
    deviation_arcmin,
    edge_difference_mm,
    z_a_of_sines,
)
from services.optics.dispersion import (
    D_LINE_NM,
    SAME_LINE_NM,
    Sellmeier,
    cauchy_index,
    formula_of,
    index_by_poles,
    index_by_sellmeier,
    stated_dispersion,
)
from services.optics.first_order import curvature_per_mm, focal_length_of_power_mm, lens_power_per_mm
from services.optics.law import column, decided, figure_of, given
from services.optics.surface import (
    NEARLY_A_HEMISPHERE,
    Profile,
    aspheric_term_mm,
    normal_sine,
    reach_mm,
    sag_of_conic_mm,
    sag_with_terms_mm,
    slope,
    slope_of_conic,
)
from services.prescription.domain.basis_of_demands import demand_figure, face_demand_figures, quality_figures
from services.prescription.domain.bevels import usual_bevel_source
from services.prescription.domain.materials import Material
from services.shop.allowances import work_diameter_mm
from shared_schemas.check import ElementCheck, SurfaceCheck
from shared_schemas.figure import Figure
from shared_schemas.prescription import Element
from shared_schemas.rates import AllowanceRow

Side = Literal["front", "back"]

STATED = "the drawing"
SEARCHED = "least departure peak to valley, found by a search of the curvature"
PLANE = "a plane has none"


@dataclass(frozen=True)
class _Of:
    """One element, and where it stands in the prescription and in the report of a quote."""

    place: int
    element: Element
    body: Body
    material: Material
    wavelength_nm: float
    checked: ElementCheck

    @property
    def drawn(self) -> str:
        return f"/prescription/elements/{self.place}"

    @property
    def report(self) -> str:
        return f"/check/elements/{self.place}"

    def stated(self, name: str, value: float) -> Figure:
        return given(name, value, "mm", at=f"{self.drawn}/{name}")

    def known(self, name: str, value: float, unit: str = "") -> Figure:
        """A figure of the report itself, explained there."""
        return given(name, value, unit, at=f"{self.report}/{name}")

    @property
    def rim(self) -> Figure:
        return figure_of(semi_diameter_mm, name="rim_mm", diameter_mm=self.stated("diameter_mm", self.element.diameter_mm))

    @property
    def centre_thickness(self) -> Figure:
        return self.stated("centre_thickness_mm", self.element.centre_thickness_mm)

    def face(self, side: Side) -> Profile:
        return self.body.front if side == "front" else self.body.back


def with_basis(
    checked: ElementCheck, *, place: int, element: Element, body: Body, material: Material, wavelength_nm: float, allowance: AllowanceRow | None
) -> ElementCheck:  # fmt: skip
    """The figures of an element with what explains them."""
    of = _Of(place, element, body, material, wavelength_nm, checked)
    return checked.model_copy(
        update={
            "basis": tuple(_of_element(of, allowance)),
            "front": checked.front.model_copy(update={"basis": tuple(_of_face(of, "front", checked.front))}),
            "back": checked.back.model_copy(update={"basis": tuple(_of_face(of, "back", checked.back))}),
        }
    )


def _of_element(of: _Of, allowance: AllowanceRow | None) -> Iterator[Figure]:
    checked, element = of.checked, of.element
    yield _index(of)
    yield _work_diameter(of, allowance)
    at_rim = (_sag(of, "front", of.rim, "sag_front_mm"), _sag(of, "back", of.rim, "sag_back_mm"))
    yield from at_rim
    yield figure_of(
        thickness_at_mm, name="edge_thickness_mm", centre_thickness_mm=of.centre_thickness,
        sag_front_mm=of.known("sag_front_mm", checked.sag_front_mm, "mm"), sag_back_mm=of.known("sag_back_mm", checked.sag_back_mm, "mm"),
    )  # fmt: skip
    half = figure_of(semi_diameter_mm, name="height_mm", diameter_mm=of.known("work_diameter_mm", checked.work_diameter_mm, "mm"))
    yield figure_of(
        thickness_at_mm, name="edge_thickness_at_work_diameter_mm", centre_thickness_mm=of.centre_thickness,
        sag_front_mm=_sag(of, "front", half, "sag_front_mm"), sag_back_mm=_sag(of, "back", half, "sag_back_mm"),
    )  # fmt: skip
    yield from _solid(of)
    yield figure_of(
        diameter_to_thickness, diameter_mm=of.stated("diameter_mm", element.diameter_mm), centre_thickness_mm=of.centre_thickness
    )
    yield figure_of(z_a_of_sines, name="centring_z", front_sine=_sine(of, "front"), back_sine=_sine(of, "back"))
    yield from _tolerances(of)
    yield from quality_figures(of.checked.glass_quality, of.drawn)
    yield from _axis(of)


def _index(of: _Of) -> Figure:
    row, index = of.material.row, of.checked.refractive_index
    wavelength = given("wavelength_nm", of.wavelength_nm, "nm", at="/check/first_order/wavelength_nm")
    if row is None:
        return given("refractive_index", index, at=f"{of.drawn}/glass")
    ref = row.named_in("glasses")
    if abs(of.wavelength_nm - D_LINE_NM) <= SAME_LINE_NM and row.nd is not None:
        return column("refractive_index", index, "", ref)
    formula = formula_of(row)
    if formula is None:
        nd, vd = stated_dispersion(row)
        return figure_of(
            cauchy_index, name="refractive_index", rate_row=ref, nd=given("nd", nd), vd=given("vd", vd), wavelength_nm=wavelength
        )
    law, strengths, unit, ending = (
        (index_by_sellmeier, formula.b, "", "")
        if isinstance(formula, Sellmeier)
        else (index_by_poles, formula.b_um2, "um2", "_um2")
    )
    inputs: dict[str, Any] = {f"b{n}{ending}": given(f"b{n}{ending}", b, unit) for n, b in enumerate(strengths, start=1)}
    inputs |= {f"c{n}_um2": given(f"c{n}_um2", c, "um2") for n, c in enumerate(formula.c_um2, start=1)}
    inputs["constant"] = given("constant", formula.constant)
    return figure_of(law, name="refractive_index", rate_row=ref, wavelength_nm=wavelength, **inputs)


def _work_diameter(of: _Of, allowance: AllowanceRow | None) -> Figure:
    diameter = of.stated("diameter_mm", of.element.diameter_mm)
    if allowance is None:
        return given("work_diameter_mm", of.checked.work_diameter_mm, "mm", at=f"{of.drawn}/diameter_mm")
    left = column("allowance_mm", allowance.allowance_mm, "mm", allowance.named_in("allowances"))
    return figure_of(work_diameter_mm, diameter_mm=diameter, allowance_mm=left)


def _sag(of: _Of, side: Side, height: Figure, name: str) -> Figure:
    """The sagitta of a face at a height, on the curve or on the seat outside."""
    face = of.face(side)
    surface, drawn = face.surface, f"{of.drawn}/{side}"
    within = min(float(height.value), face.curved_to_mm)
    at_height = height if within == height.value else _ends(of, side)
    if surface.radius_mm is None:
        conic = decided("sag_of_conic_mm", 0.0, PLANE, unit="mm")
    else:
        conic = figure_of(
            sag_of_conic_mm, name="sag_of_conic_mm" if surface.asphere else name,
            radius_mm=given("radius_mm", surface.radius_mm, "mm", at=f"{drawn}/radius_mm"),
            conic=given("conic", surface.conic, at=f"{drawn}/conic"), height_mm=at_height,
        )  # fmt: skip
    if not surface.asphere:
        return conic.model_copy(update={"name": name})
    reach = min(within, face.rim_mm)
    terms = [
        figure_of(
            aspheric_term_mm, name=f"term {order}", coefficient=given("coefficient", a, at=f"{drawn}/asphere/{order}"),
            order=given("order", int(order), source=STATED), height_mm=given("height_mm", reach, "mm", source="the height, or the rim of the part"),
        )
        for order, a in surface.asphere.items()
    ]  # fmt: skip
    return figure_of(sag_with_terms_mm, name=name, sag_of_conic_mm=conic, terms_mm=terms)


def _ends(of: _Of, side: Side) -> Figure:
    """Where a curve ends and the seat begins."""
    face, clear = of.face(side), of.face(side).surface.clear_diameter_mm
    if face.curved_to_mm == clear / 2:
        return figure_of(
            semi_diameter_mm,
            name="height_mm",
            diameter_mm=given("clear_diameter_mm", clear, "mm", at=f"{of.drawn}/{side}/clear_diameter_mm"),
        )
    if face.curved_to_mm < clear / 2 or face.curved_to_mm < NEARLY_A_HEMISPHERE * reach_mm(surface=face.surface):
        return decided(
            "height_mm",
            face.curved_to_mm,
            "the curve ends where a flat seat keeps the rim off its neighbour",
            unit="mm",
            source="common practice",
        )
    reason = f"the curve is good to {NEARLY_A_HEMISPHERE:g} of its reach |R| / sqrt(1 + k); a flat goes on from there"
    return decided("height_mm", face.curved_to_mm, reason, unit="mm", source="common practice")


def _sine(of: _Of, side: Side) -> Figure:
    face, drawn = of.face(side), f"{of.drawn}/{side}"
    surface, clear = face.surface, face.surface.clear_diameter_mm / 2
    height = min(clear, face.curved_to_mm)
    if surface.radius_mm is None and not surface.asphere:
        return decided(f"{side}_sine", 0.0, PLANE)
    if surface.asphere or surface.radius_mm is None:
        steep = given(
            "slope", slope(surface=surface, height_mm=height), source="slope of the asphere at its clear diameter, all terms"
        )
    else:
        steep = figure_of(
            slope_of_conic, name="slope", radius_mm=given("radius_mm", surface.radius_mm, "mm", at=f"{drawn}/radius_mm"),
            conic=given("conic", surface.conic, at=f"{drawn}/conic"),
            height_mm=figure_of(semi_diameter_mm, diameter_mm=given("clear_diameter_mm", surface.clear_diameter_mm, "mm", at=f"{drawn}/clear_diameter_mm"))
            if height == clear else _ends(of, side),
        )  # fmt: skip
    return figure_of(normal_sine, name=f"{side}_sine", slope=steep)


def _solid(of: _Of) -> Iterator[Figure]:
    checked, body = of.checked, of.body
    if edge_thickness_mm(body=body, height_mm=body.rim_mm) < 0:
        yield given("volume_mm3", checked.volume_mm3, "mm3", source="integral between the faces as far as they bound glass")
        yield given(
            "centre_of_gravity_mm",
            checked.centre_of_gravity_mm or 0.0,
            "mm",
            source="integral between the faces as far as they bound glass",
        )
    else:
        front, back = (under_face(face, body.rim_mm) for face in (body.front, body.back))
        why = "integral of 2 pi r z under the face: in closed form for spheres and planes, by a rule of 64 points for aspheres"
        moment = "integral of pi r z^2 under the face: in closed form for spheres and planes, by a rule of 64 points for aspheres"
        under_back = given("under_back_mm3", back.volume_mm3, "mm3", source=why)
        yield figure_of(
            volume_between_mm3, name="volume_mm3", rim_mm=of.rim, centre_thickness_mm=of.centre_thickness,
            under_front_mm3=given("under_front_mm3", front.volume_mm3, "mm3", source=why), under_back_mm3=under_back,
        )  # fmt: skip
        whole = figure_of(
            moment_of_body_mm4, name="moment_mm4", unit="mm4", rim_mm=of.rim, centre_thickness_mm=of.centre_thickness, under_back_mm3=under_back,
            moment_front_mm4=given("moment_front_mm4", front.moment_mm4, "mm4", source=moment),
            moment_back_mm4=given("moment_back_mm4", back.moment_mm4, "mm4", source=moment),
        )  # fmt: skip
        yield figure_of(centre_of_gravity_mm, moment_mm4=whole, volume_mm3=of.known("volume_mm3", checked.volume_mm3, "mm3"))
    if of.material.row is not None and checked.density_g_cm3 is not None:
        density = column("density_g_cm3", checked.density_g_cm3, "g/cm3", of.material.row.named_in("glasses"))
        yield density
        yield figure_of(mass_g, volume_mm3=of.known("volume_mm3", checked.volume_mm3, "mm3"), density_g_cm3=density)


def _tolerances(of: _Of) -> Iterator[Figure]:
    checked, place = of.checked, f"{of.drawn}/tolerances"
    for name, asked, figure in (
        ("diameter", "diameter_mm", checked.diameter_tolerance_mm),
        ("centre_thickness", "centre_thickness_mm", checked.centre_thickness_tolerance_mm),
    ):
        stated = name not in checked.defaulted
        yield demand_figure(f"{name}_tolerance_mm", figure, "mm", f"{place}/{asked}" if stated else None)
    stated = "centring" not in checked.defaulted
    yield demand_figure(
        "centring_tolerance_arcmin", checked.centring_tolerance_arcmin, "arcmin", f"{place}/centring" if stated else None
    )


def _axis(of: _Of) -> Iterator[Figure]:
    checked, front, back = of.checked, of.element.front.radius_mm, of.element.back.radius_mm
    tilt = of.known("centring_tolerance_arcmin", checked.centring_tolerance_arcmin, "arcmin")
    index = of.known("refractive_index", checked.refractive_index)
    if checked.focal_length_mm is not None:
        power = figure_of(
            lens_power_per_mm, name="power_per_mm", unit="1/mm", refractive_index=index, centre_thickness_mm=of.centre_thickness,
            front_curvature_per_mm=_curvature(of, "front", front), back_curvature_per_mm=_curvature(of, "back", back),
        )  # fmt: skip
        yield figure_of(focal_length_of_power_mm, name="focal_length_mm", power_per_mm=power)
    if front is not None and back is not None:
        yield figure_of(
            centres_apart_mm,
            front_radius_mm=given("front_radius_mm", front, "mm", at=f"{of.drawn}/front/radius_mm"),
            back_radius_mm=given("back_radius_mm", back, "mm", at=f"{of.drawn}/back/radius_mm"),
            centre_thickness_mm=of.centre_thickness,
        )
    yield figure_of(
        edge_difference_mm,
        name="wedge_edge_difference_mm",
        wedge_arcmin=tilt,
        diameter_mm=of.stated("diameter_mm", of.element.diameter_mm),
    )
    yield figure_of(deviation_arcmin, name="wedge_deviation_arcmin", wedge_arcmin=tilt, refractive_index=index)
    if checked.wedge_decentre_mm is not None and checked.focal_length_mm is not None and checked.wedge_deviation_arcmin is not None:
        yield figure_of(
            decentre_mm, name="wedge_decentre_mm", focal_length_mm=of.known("focal_length_mm", checked.focal_length_mm, "mm"),
            deviation_arcmin=of.known("wedge_deviation_arcmin", checked.wedge_deviation_arcmin, "arcmin"),
        )  # fmt: skip


def _curvature(of: _Of, side: Side, radius_mm: float | None) -> Figure:
    name = f"{side}_curvature_per_mm"
    if radius_mm is None:
        return decided(name, 0.0, PLANE, unit="1/mm")
    return figure_of(
        curvature_per_mm, name=name, unit="1/mm", radius_mm=given("radius_mm", radius_mm, "mm", at=f"{of.drawn}/{side}/radius_mm")
    )


def _of_face(of: _Of, side: Side, checked: SurfaceCheck) -> Iterator[Figure]:
    face, drawn, report = of.face(side), f"{of.drawn}/{side}", f"{of.report}/{side}"
    worked = of.rim if not face.needs_seat else _ends(of, side)
    yield worked.model_copy(update={"name": "semi_diameter_mm"})
    yield _sag(of, side, given("height_mm", checked.semi_diameter_mm, "mm", at=f"{report}/semi_diameter_mm"), "sag_mm")
    yield figure_of(
        seat_width_mm, rim_mm=of.rim, curved_mm=given("curved_mm", checked.semi_diameter_mm, "mm", at=f"{report}/semi_diameter_mm")
    )
    radius = face.surface.radius_mm
    if radius is None:
        yield decided("semi_diameter_to_radius", 0.0, PLANE)
    else:
        yield figure_of(
            semi_diameter_to_radius, semi_diameter_mm=given("semi_diameter_mm", checked.semi_diameter_mm, "mm", at=f"{report}/semi_diameter_mm"),
            radius_mm=given("radius_mm", radius, "mm", at=f"{drawn}/radius_mm"),
        )  # fmt: skip
        yield figure_of(
            centre_of_curvature_offset_mm, name="centre_offset_mm", radius_mm=given("radius_mm", radius, "mm", at=f"{drawn}/radius_mm"),
            tilt_arcmin=of.known("centring_tolerance_arcmin", of.checked.centring_tolerance_arcmin, "arcmin"),
        )  # fmt: skip
    yield from face_demand_figures(checked, drawn)
    for name, figure, unit in (
        ("best_fit_radius_mm", checked.best_fit_radius_mm, "mm"),
        ("aspheric_departure_um", checked.aspheric_departure_um, "um"),
        ("aspheric_slope_mrad", checked.aspheric_slope_mrad, "mrad"),
    ):
        if figure is not None:
            yield given(name, figure, unit, source=SEARCHED)
    for width in checked.bevel_width_mm or ():
        yield given("bevel_width_mm", width, "mm", source=usual_bevel_source())
