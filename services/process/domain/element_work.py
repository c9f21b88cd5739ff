"""One element as the shop sees it: blank, faces, demands, glass; and which face is worked first."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any, Literal, cast

from services.optics.body import Body
from services.optics.face_glass import area_mm2, over_face_mm3
from services.optics.seats import bodies_of
from services.process.domain.aspheres.shape import Asphere, asphere_of
from services.process.domain.coating.choice import choose
from services.process.domain.coating.promise import Asked, asked_by, band_of
from services.process.domain.coating.run import DesignedRow
from services.process.domain.route.extra_work import ExtraWork, extra_work_for
from services.process.domain.route.knees import Demand
from services.process.errors import PlansDoNotMatch
from shared_schemas.blanks import Blank, BlankPlan
from shared_schemas.check import CheckReport, ElementCheck, SurfaceCheck
from shared_schemas.operations import Face
from shared_schemas.prescription import CoatingDemand, Element, Prescription, Surface
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import CoatingRow, GlassRow, Rates


@dataclass(frozen=True)
class FaceWork:
    """One face: its shape and what it is allowed. `radius_mm` is a size, `convex` says to which side; plano has None.

    `sag_mm` is its depth on the finished part, `sag_at_blank_mm` where it goes on to the rim of the blank; there `over_mm3` is the
    glass between it and the plane across its outermost point, and `area_mm2` its area.
    `coating` is a name of the rates: the one asked for, or the one chosen for what is asked, which `coating_demand` keeps, before
    `runner_up`; where no row of the rates does that, it is the name of `design`.
    `roughness_nm` (Rq) and `micro_defects` (in 10 mm) are there where the drawing states a texture, `laser_damage` where it
    states a resistance to laser light, `seat` where a flat seat or a step lies outside the curve.
    """

    face: Face
    radius_mm: float | None
    convex: bool
    aspheric: bool
    sag_mm: float
    sag_at_blank_mm: float
    irregularity_fringes: float
    power_fringes: float
    grade_mm: float
    coating: str | None
    where: str
    focal_length_per_radius: float | None = None
    coating_demand: CoatingDemand | None = None
    runner_up: str | None = None
    design: DesignedRow | None = None
    roughness_nm: float | None = None
    micro_defects: float | None = None
    laser_damage: bool = False
    seat: bool = False
    over_mm3: float = 0.0
    area_mm2: float = 0.0
    asphere: Asphere | None = None

    @property
    def is_near_a_sphere(self) -> bool:
        """Whether it is aspheric, but departs so little for what it is allowed that it may be polished as a sphere."""
        return self.aspheric and self.asphere is not None and self.asphere.is_near_a_sphere(self.irregularity_fringes)

    @property
    def made_aspheric(self) -> bool:
        """Whether it can only be made as an asphere."""
        return self.aspheric and not self.is_near_a_sphere

    @property
    def textured(self) -> bool:
        """Whether the drawing states a texture that time is planned for."""
        return self.roughness_nm is not None or self.micro_defects is not None

    def coating_row(self, rates: Rates) -> CoatingRow | None:
        """The row of its coating, or its design; None for an uncoated face. Raises `RateMissing`."""
        return self.design or (None if self.coating is None else rates.coating(self.coating))

    def coated_with(self, coating: str | None) -> FaceWork:
        """The same face with another coating of the rates, or none."""
        return replace(self, coating=coating, design=None, runner_up=None)

    def works(self, row: CoatingRow) -> Asked:
        """Where the coating of this face is to work: as asked, or over the band of its row."""
        return band_of(row) if self.coating_demand is None else asked_by(self.coating_demand)

    @property
    def signed_radius_mm(self) -> float:
        """The radius as the prescription has it, positive when the centre of curvature lies behind the surface; 0 for plano [mm]."""
        return (self.radius_mm or 0.0) * (1 if self.convex == (self.face == "front") else -1)

    @cached_property
    def demands(self) -> tuple[Demand, ...]:
        """The tolerances of this face; of its texture only what is stated."""
        check = f"/check{self.where}"
        texture = (("roughness", "roughness_nm", self.roughness_nm), ("micro_defects", "micro_defects", self.micro_defects))
        return (
            Demand("irregularity", self.irregularity_fringes, f"{self.where}/form", f"{check}/irregularity_fringes"),
            Demand("power", self.power_fringes, f"{self.where}/form", f"{check}/power_fringes"),
            Demand("imperfection_grade", self.grade_mm, f"{self.where}/imperfections", f"{check}/planned_grade_mm"),
            *(Demand(name, figure, f"{self.where}/texture", f"{check}/{at}") for name, at, figure in texture if figure is not None),
        )


CLEARLY_TIGHTER = 0.5
"""A figure this share of the other's, or less, is clearly the tighter one; common practice."""

CLEARLY_FINER = 0.65
"""An imperfection grade this share of the other's is a step of the series of ISO 10110-7 finer: 0.10, 0.16, 0.25, 0.40 (from memory)."""


OrderRule = Literal["asphere", "tighter", "coated", "finer", "hollow", "flatter"]

ORDER_WORDS: dict[OrderRule, str] = {
    "asphere": "the asphere last: the sphere is what it rests on and is centred by",
    "tighter": "the tighter figure last: blocking on a finished face strains it",
    "coated": "the face to be coated last: this glass must not wait for its coating",
    "finer": "the face with the finer imperfections last: in this glass the first one waits under lacquer",
    "hollow": "the concave or plane face first: finished, it is what the piece rests on",
    "flatter": "the flatter face first: finished, it is what the piece rests on",
}
"""What is said of each rule that orders the faces."""


@dataclass(frozen=True)
class FaceOrder:
    """The face worked first, and the rule that says so."""

    first: Face
    rule: OrderRule

    @property
    def reason(self) -> str:
        """The rule in words."""
        return ORDER_WORDS[self.rule]

    @property
    def by_shape(self) -> bool:
        """Whether nothing but the shape of the faces says so."""
        return self.rule in ("hollow", "flatter")


def order_of(front: FaceWork, back: FaceWork, *, delicate: bool) -> FaceOrder:
    """The order in which two faces are worked.

    Args:
        delicate: whether the glass stains or weathers, so that a polished face should not wait.

    Notes: the first rule that tells the faces apart holds. An asphere last; the clearly tighter figure last, as what is blocked
    on afterwards is strained; of a delicate glass the only coated face last, and else the clearly finer one; the concave face
    first; the flatter one first; the front.

    Source: common practice.
    """
    if front.made_aspheric != back.made_aspheric:
        return _last(front if front.made_aspheric else back, "asphere")
    tighter, wider = sorted((front, back), key=lambda one: one.irregularity_fringes)
    if tighter.irregularity_fringes <= CLEARLY_TIGHTER * wider.irregularity_fringes:
        return _last(tighter, "tighter")
    if delicate and (front.coating is None) != (back.coating is None):
        return _last(back if front.coating is None else front, "coated")
    finer, coarser = sorted((front, back), key=lambda one: one.grade_mm)
    if delicate and finer.grade_mm <= CLEARLY_FINER * coarser.grade_mm + 1e-9:
        return _last(finer, "finer")
    if front.convex != back.convex:
        return _first(back if front.convex else front, "hollow")
    flatter = front if (front.radius_mm or float("inf")) >= (back.radius_mm or float("inf")) else back
    return _first(flatter, "flatter")


def _first(one: FaceWork, rule: OrderRule) -> FaceOrder:
    return FaceOrder(one.face, rule)


def _last(one: FaceWork, rule: OrderRule) -> FaceOrder:
    return FaceOrder("back" if one.face == "front" else "front", rule)


@dataclass(frozen=True)
class ElementWork:
    """One element: everything that its route is worked out from.

    `edge_mm` is the thickness of the finished edge, `rim_mm` that at the diameter at which it is worked; `blackened` says
    that its edge is blackened by itself, not as part of a cemented group. `order` is how the faces are
    planned. `assembly_grade_mm` is what the drawing allows cemented faces. `blanks` has its blank in every form that may be the
    cheapest, the likeliest first, which is `blank`. `part` is the first element of its kind, whose lot it is made in.
    """

    name: str
    part: str
    glass: GlassRow
    refractive_index: float
    blank: Blank
    blanks: tuple[Blank, ...]
    diameter_mm: float
    edge_mm: float
    rim_mm: float
    centring_z: float
    centring_arcmin: float
    diameter_tolerance_mm: float
    thickness_tolerance_mm: float
    front: FaceWork
    back: FaceWork
    blackened: bool
    where: str
    diameter_to_thickness: float
    order: FaceOrder
    extra_work: ExtraWork
    assembly_grade_mm: float | None = None
    cemented: bool = False

    @property
    def in_order(self) -> tuple[FaceWork, FaceWork]:
        """Both faces, the one worked first first."""
        return (self.front, self.back) if self.order.first == "front" else (self.back, self.front)

    @property
    def is_window(self) -> bool:
        """Whether both faces are plane, so that there is no axis to be centred to."""
        return all(face.radius_mm is None and not face.aspheric for face in self.faces)

    @property
    def faces(self) -> tuple[FaceWork, FaceWork]:
        """Both faces, front first."""
        return self.front, self.back

    @cached_property
    def demands(self) -> tuple[Demand, ...]:
        """The tolerances of the element itself."""
        drawn, check = f"{self.where}/tolerances", f"/check{self.where}"
        return (
            Demand("centring", self.centring_arcmin, f"{drawn}/centring", f"{check}/centring_tolerance_arcmin"),
            Demand("diameter", self.diameter_tolerance_mm, f"{drawn}/diameter_mm", f"{check}/diameter_tolerance_mm"),
            Demand(
                "centre_thickness",
                self.thickness_tolerance_mm,
                f"{drawn}/centre_thickness_mm",
                f"{check}/centre_thickness_tolerance_mm",
            ),
        )

    def demands_on(self, face: FaceWork) -> tuple[Demand, ...]:
        """The tolerances that work on one face answers to: its own, and those of the element."""
        return (*face.demands, *self.demands)

    @cached_property
    def all_demands(self) -> tuple[Demand, ...]:
        """Every tolerance of the element and of its faces."""
        return (*self.front.demands, *self.back.demands, *self.demands)

    def with_face(self, changed: FaceWork) -> ElementWork:
        """The same element with one face changed, and its faces in the order that follows from it."""
        front, back = (changed, self.back) if changed.face == "front" else (self.front, changed)
        order = order_of(front, back, delicate=self.extra_work.for_stain_or_climate)
        return replace(self, front=front, back=back, order=order)

    def with_figure(self, attribute: str, face: Face | None, figure: float) -> ElementWork:
        """The same element with one tolerance changed, and its faces in the order that follows from it."""
        of_face = {
            "irregularity": "irregularity_fringes", "power": "power_fringes", "imperfection_grade": "grade_mm",
            "roughness": "roughness_nm", "micro_defects": "micro_defects",
        }  # fmt: skip
        if face is not None:
            return self.with_face(replace(self.front if face == "front" else self.back, **cast(Any, {of_face[attribute]: figure})))
        own = {"centring": "centring_arcmin", "diameter": "diameter_tolerance_mm", "centre_thickness": "thickness_tolerance_mm"}
        return replace(self, **cast(Any, {own[attribute]: figure}))


def elements_of(prescription: Prescription, check: CheckReport, blanks: BlankPlan, rates: Rates) -> tuple[ElementWork, ...]:
    """Every element with its check and its blanks, those of the first of its kind where several are alike.

    Raises `PlansDoNotMatch` when one has none, `RateMissing` for its glass.
    """
    checks = {one.name: one for one in check.elements}
    plans: dict[str, tuple[Blank, ...]] = {}
    for blank in blanks.blanks:
        plans[blank.element] = (*plans.get(blank.element, ()), blank)
    found = []
    cemented = _cemented_faces(prescription)
    alone = {group[0].name for group in prescription.cemented_groups() if len(group) == 1}
    bodies = bodies_of(prescription)
    for number, element in enumerate(prescription.elements):
        part = blanks.alike.get(element.name, element.name)
        if element.name not in checks:
            raise PlansDoNotMatch(element.name, "check report")
        if part not in plans:
            raise PlansDoNotMatch(part, "blank plan")
        blackened = prescription.barrel is not None and element.name in alone
        made = _work(element, bodies[number], checks[element.name], plans[part], f"/elements/{number}", cemented, blackened, rates)
        graded = replace(made, assembly_grade_mm=check.assembly_imperfection_grade_mm)
        found.append(replace(graded, cemented=element.name not in alone))
    return tuple(found)


def _work(
    element: Element, shape: Body, check: ElementCheck, blanks: tuple[Blank, ...], where: str,
    cemented: set[tuple[str, Face]], blackened: bool, rates: Rates,
) -> ElementWork:  # fmt: skip
    blank = blanks[0]
    for one in blanks:
        _refuse_impossible(check, one)
    glass = rates.glass(blank.glass)

    def face(side: Face, surface: Surface, of_check: SurfaceCheck) -> FaceWork:
        drawn, rim = shape.front if side == "front" else shape.back, blank.diameter_mm / 2
        bare = _face(side, surface, of_check, abs(drawn.sag_mm(rim)), f"{where}/{side}")
        over, area = over_face_mm3(face=drawn, height_mm=rim, side=side), area_mm2(face=drawn, height_mm=rim)
        shaped = asphere_of(drawn, front=side == "front") if of_check.aspheric else None
        uncoated = replace(bare, over_mm3=over, area_mm2=area, asphere=shaped)
        return uncoated if (element.name, side) in cemented else _coated(uncoated, of_check, glass, element.diameter_mm, rates)

    front, back = face("front", element.front, check.front), face("back", element.back, check.back)
    extra_work = extra_work_for(glass, laser_damage=front.laser_damage or back.laser_damage, rates=rates)
    return ElementWork(
        name=element.name,
        part=blank.element,
        glass=glass,
        refractive_index=check.refractive_index,
        blank=blank,
        blanks=blanks,
        diameter_mm=element.diameter_mm,
        edge_mm=max(check.edge_thickness_mm, 0.0),
        rim_mm=max(check.edge_thickness_at_work_diameter_mm, 0.0),
        centring_z=check.centring_z,
        centring_arcmin=check.centring_tolerance_arcmin,
        diameter_tolerance_mm=check.diameter_tolerance_mm,
        thickness_tolerance_mm=check.centre_thickness_tolerance_mm,
        front=front,
        back=back,
        blackened=blackened,
        where=where,
        diameter_to_thickness=check.diameter_to_thickness,
        order=order_of(front, back, delicate=extra_work.for_stain_or_climate),
        extra_work=extra_work,
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


def _coated(face: FaceWork, check: SurfaceCheck, glass: GlassRow, diameter_mm: float, rates: Rates) -> FaceWork:
    """The face with its coating: the one named, or the cheapest that does what is asked."""
    if isinstance(check.coating, CoatingDemand):
        chosen = choose(check.coating, glass=glass, diameter_mm=diameter_mm, rates=rates)
        return replace(
            face,
            coating=chosen.row.name,
            coating_demand=check.coating,
            runner_up=chosen.others[0].name if chosen.others else None,
            design=chosen.row if isinstance(chosen.row, DesignedRow) else None,
        )
    return replace(face, coating=check.coating)


def _face(face: Face, surface: Surface, check: SurfaceCheck, sag_at_blank_mm: float, where: str) -> FaceWork:
    radius = surface.radius_mm
    return FaceWork(
        face=face,
        radius_mm=None if radius is None else abs(radius),
        convex=radius is not None and (radius > 0) == (face == "front"),
        aspheric=check.aspheric,
        sag_mm=abs(check.sag_mm),
        sag_at_blank_mm=sag_at_blank_mm,
        irregularity_fringes=check.irregularity_fringes,
        power_fringes=check.power_fringes,
        grade_mm=check.imperfection_grade_mm if check.planned_grade_mm is None else check.planned_grade_mm,
        coating=None,
        where=where,
        focal_length_per_radius=check.focal_length_per_radius,
        roughness_nm=check.roughness_nm,
        micro_defects=check.micro_defects,
        laser_damage=surface.laser_damage is not None,
        seat=check.seat_width_mm > 0,
    )


def _cemented_faces(prescription: Prescription) -> set[tuple[str, Face]]:
    found: set[tuple[str, Face]] = set()
    for space, (before, behind) in zip(prescription.spaces, pairwise(prescription.elements), strict=True):
        found |= {(before.name, "back"), (behind.name, "front")} if space.cemented else set()
    return found
