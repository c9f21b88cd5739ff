"""One element as the shop sees it: blank, faces, demands, glass."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, cast

from services.process.domain.tolerance_knees import Demand
from services.process.errors import FigureOutOfRange, PlansDoNotMatch
from shared_schemas.blanks import Blank, BlankPlan
from shared_schemas.check import CheckReport, ElementCheck, SurfaceCheck
from shared_schemas.operations import Face
from shared_schemas.prescription import Element, Prescription, Surface
from shared_schemas.rates import GlassRow, Rates


@dataclass(frozen=True)
class FaceWork:
    """One face: its shape and what it is allowed. `radius_mm` is a size, `convex` says to which side; plano has None."""

    face: Face
    radius_mm: float | None
    convex: bool
    aspheric: bool
    sag_mm: float
    irregularity_fringes: float
    power_fringes: float
    grade_mm: float
    coating: str | None
    where: str

    @cached_property
    def demands(self) -> tuple[Demand, ...]:
        """The tolerances of this face."""
        return (
            Demand("irregularity", self.irregularity_fringes, f"{self.where}/form"),
            Demand("power", self.power_fringes, f"{self.where}/form"),
            Demand("imperfection_grade", self.grade_mm, f"{self.where}/imperfections"),
        )


@dataclass(frozen=True)
class ElementWork:
    """One element: everything that its route is worked out from.

    `edge_mm` is the thickness of the finished edge, `rim_mm` that at the diameter at which it is worked; `blackened` says
    that its edge is blackened by itself, not as part of a cemented group.
    """

    name: str
    glass: GlassRow
    refractive_index: float
    blank: Blank
    diameter_mm: float
    edge_mm: float
    rim_mm: float
    finished_volume_mm3: float
    centring_z: float
    centring_arcmin: float
    diameter_tolerance_mm: float
    thickness_tolerance_mm: float
    front: FaceWork
    back: FaceWork
    blackened: bool
    where: str

    @property
    def faces(self) -> tuple[FaceWork, FaceWork]:
        """Both faces, front first."""
        return self.front, self.back

    @cached_property
    def demands(self) -> tuple[Demand, ...]:
        """The tolerances of the element itself."""
        return (
            Demand("centring", self.centring_arcmin, f"{self.where}/tolerances/centring"),
            Demand("diameter", self.diameter_tolerance_mm, f"{self.where}/tolerances/diameter_mm"),
            Demand("centre_thickness", self.thickness_tolerance_mm, f"{self.where}/tolerances/centre_thickness_mm"),
        )

    def demands_on(self, face: FaceWork) -> tuple[Demand, ...]:
        """The tolerances that work on one face answers to: its own, and those of the element."""
        return (*face.demands, *self.demands)

    @cached_property
    def all_demands(self) -> tuple[Demand, ...]:
        """Every tolerance of the element and of its faces."""
        return (*self.front.demands, *self.back.demands, *self.demands)

    def with_figure(self, attribute: str, face: Face | None, figure: float) -> ElementWork:
        """The same element with one tolerance changed."""
        of_face = {"irregularity": "irregularity_fringes", "power": "power_fringes", "imperfection_grade": "grade_mm"}
        if face is not None:
            changed = replace(self.front if face == "front" else self.back, **cast(Any, {of_face[attribute]: figure}))
            return replace(self, front=changed) if face == "front" else replace(self, back=changed)
        own = {"centring": "centring_arcmin", "diameter": "diameter_tolerance_mm", "centre_thickness": "thickness_tolerance_mm"}
        return replace(self, **cast(Any, {own[attribute]: figure}))


def elements_of(prescription: Prescription, check: CheckReport, blanks: BlankPlan, rates: Rates) -> tuple[ElementWork, ...]:
    """Every element with its check and its blank; raises `PlansDoNotMatch` when one has none, `RateMissing` for its glass."""
    checks = {one.name: one for one in check.elements}
    plans = {one.element: one for one in blanks.blanks}
    found = []
    cemented = _cemented_faces(prescription)
    alone = {group[0].name for group in prescription.cemented_groups() if len(group) == 1}
    for number, element in enumerate(prescription.elements):
        for document, entries in (("check report", checks), ("blank plan", plans)):
            if element.name not in entries:
                raise PlansDoNotMatch(element.name, document)
        blackened = prescription.barrel is not None and element.name in alone
        found.append(_work(element, checks[element.name], plans[element.name], f"/elements/{number}", cemented, blackened, rates))
    return tuple(found)


def _work(
    element: Element, check: ElementCheck, blank: Blank, where: str, cemented: set[tuple[str, Face]], blackened: bool, rates: Rates
) -> ElementWork:
    _refuse_impossible(check, blank)
    return ElementWork(
        name=element.name,
        glass=rates.glass(blank.glass),
        refractive_index=check.refractive_index,
        blank=blank,
        diameter_mm=element.diameter_mm,
        edge_mm=max(check.edge_thickness_mm, 0.0),
        rim_mm=max(check.edge_thickness_at_work_diameter_mm, 0.0),
        finished_volume_mm3=check.volume_mm3,
        centring_z=check.centring_z,
        centring_arcmin=check.centring_tolerance_arcmin,
        diameter_tolerance_mm=check.diameter_tolerance_mm,
        thickness_tolerance_mm=check.centre_thickness_tolerance_mm,
        front=_face("front", element.front, check.front, f"{where}/front", (element.name, "front") in cemented),
        back=_face("back", element.back, check.back, f"{where}/back", (element.name, "back") in cemented),
        blackened=blackened,
        where=where,
    )


def _refuse_impossible(check: ElementCheck, blank: Blank) -> None:
    """Sizes that no piece of glass has; they can only come from plans written by hand."""
    sizes = {
        f"diameter of the blank of {blank.element} [mm]": blank.diameter_mm,
        f"thickness of the blank of {blank.element} [mm]": blank.thickness_mm,
        f"volume of the blank of {blank.element} [mm3]": blank.volume_mm3,
        f"discs per plate of {blank.element}": blank.discs_per_plate,
        f"utilisation of the plate of {blank.element}": blank.utilisation,
        f"volume of {check.name} [mm3]": check.volume_mm3,
        f"refractive index of {check.name}": check.refractive_index,
    }
    for name, figure in sizes.items():
        if figure <= 0:
            raise FigureOutOfRange(name, figure, "figures above 0")


def _face(face: Face, surface: Surface, check: SurfaceCheck, where: str, is_cemented: bool) -> FaceWork:
    radius = surface.radius_mm
    return FaceWork(
        face=face,
        radius_mm=None if radius is None else abs(radius),
        convex=radius is not None and (radius > 0) == (face == "front"),
        aspheric=check.aspheric,
        sag_mm=abs(check.sag_mm),
        irregularity_fringes=check.irregularity_fringes,
        power_fringes=check.power_fringes,
        grade_mm=check.imperfection_grade_mm,
        coating=None if is_cemented else check.coating,
        where=where,
    )


def _cemented_faces(prescription: Prescription) -> set[tuple[str, Face]]:
    found: set[tuple[str, Face]] = set()
    for number, space in enumerate(prescription.spaces):
        if space.cemented:
            found |= {(prescription.elements[number].name, "back"), (prescription.elements[number + 1].name, "front")}
    return found
