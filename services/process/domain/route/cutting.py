"""From stock to a generated piece: sawing plates, coring discs, taking pressings from the store, generating curves."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from services.optics.body import semi_diameter_mm
from services.optics.face_glass import cap_area_mm2, cap_volume_mm3, over_convex_mm3, plane_area_mm2
from services.optics.law import column, decided, figure_of, given, law
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.removal import RemovalRate, cutting_min, generating_min, generating_rate, removal_rate
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lines import Line, Minutes, Spent, Work, line
from services.process.domain.route.washing import wash
from services.process.domain.route.work_centres import can_take
from services.shop.allowances import Kind, allowance_row
from shared_schemas.figure import Figure
from shared_schemas.rates import AllowanceRow, Rates


@law
def plate_face_mm2(*, discs_per_plate: int, blank_volume_mm3: float, blank_thickness_mm: float, utilisation: float) -> float:
    """Face [mm2] of the plate that a saw cut frees, out of which so many discs come.

    Equation: discs_per_plate * blank_volume_mm3 / blank_thickness_mm / utilisation
    """
    return discs_per_plate * blank_volume_mm3 / blank_thickness_mm / utilisation


@law
def sawn_volume_mm3(*, face_mm2: float, kerf_mm: float) -> float:
    """Glass [mm3] that a saw cut turns to slurry.

    Equation: face_mm2 * kerf_mm
    """
    return face_mm2 * kerf_mm


@law
def core_volume_mm3(*, diameter_mm: float, thickness_mm: float, kerf_mm: float) -> float:
    """Ring [mm3] that a core drill turns to slurry.

    Equation: pi / 4 * ((diameter_mm + 2 * kerf_mm) ** 2 - diameter_mm ** 2) * thickness_mm
    """
    return math.pi / 4 * ((diameter_mm + 2 * kerf_mm) ** 2 - diameter_mm**2) * thickness_mm


@law
def left_on_face_mm(*, blank_thickness_mm: float, envelope_mm: float) -> float:
    """Glass [mm] that a flat blank leaves on the highest point of each face.

    Equation: max(blank_thickness_mm - envelope_mm, 0) / 2
    """
    return max(blank_thickness_mm - envelope_mm, 0.0) / 2


@law
def off_flat_blank_mm3(*, over_face_mm3: float, blank_diameter_mm: float, allowance_mm: float) -> float:
    """Glass [mm3] that generating takes off one face of a flat blank: what lies over the face, and the allowance all across.

    Equation: over_face_mm3 + pi / 4 * blank_diameter_mm ** 2 * allowance_mm
    Notes: up to the diameter of the blank; the ring outside the finished diameter goes at centring, and is in no face.
    Source: derived
    """
    return over_face_mm3 + math.pi / 4 * blank_diameter_mm**2 * allowance_mm


@law
def off_pressing_mm3(*, area_mm2: float, allowance_mm: float) -> float:
    """Glass [mm3] that generating takes off one face of a pressing, which has the curve in it.

    Equation: area_mm2 * allowance_mm
    Source: derived
    """
    return area_mm2 * allowance_mm


def out_of(work: ElementWork, form: str) -> ElementWork:
    """An element out of its blank of a form."""
    return work if form == work.blank.form else replace(work, blank=next(one for one in work.blanks if one.form == form))


def cut_blank(work: ElementWork, rates: Rates) -> Iterator[Line]:
    """What stands before generating: a pressing skips saw and core; what gives one blank across, as a rod does, only needs the saw."""
    form = work.blank.form
    if form == "pressing":
        yield line("press_blank", rates)
    sliced = form in ("slab", "strip", "rod") or (form == "disc" and work.blank.plates_per_slab > 1)
    if sliced:
        yield _saw(work, rates)
    if form in ("slab", "strip") or (form == "disc" and work.blank.discs_per_plate > 1):
        yield from _core_on_glass(work, rates)


def _of_blank(work: ElementWork, name: str, column_of_blank: str, unit: str = "") -> Figure:
    """A figure of the blank, as it stands in the quote."""
    value = getattr(work.blank, column_of_blank)
    if len(work.blanks) > 1:
        return given(name, value, unit, source=f"the blank as a {work.blank.form}, in the blank plan")
    return given(name, value, unit, at=f"{work.where}/blank/{column_of_blank}")


def _kerf(kind: Kind, work: ElementWork, rates: Rates) -> Figure:
    row = allowance_row(kind=kind, form=work.blank.form, diameter_mm=work.diameter_mm, rows=rates.allowances)
    return column("kerf_mm", row.allowance_mm, "mm", Rates.ref("allowances", row))


def _spent(rate: RemovalRate) -> tuple[Spent, ...]:
    return (Spent(rate.row.consumables_per_batch, Rates.ref("grinding", rate.row)),)


def _saw(work: ElementWork, rates: Rates) -> Line:
    """One cut frees a plate, out of which so many discs come; a cut turns the kerf over the plate's face to slurry."""
    blank, rate = work.blank, removal_rate("saw", work.glass, rates)
    kerf = _kerf("saw_kerf", work, rates)
    face = plate_face_mm2(
        discs_per_plate=blank.discs_per_plate, blank_volume_mm3=blank.volume_mm3, blank_thickness_mm=blank.thickness_mm,
        utilisation=blank.utilisation,
    )  # fmt: skip
    volume = sawn_volume_mm3(face_mm2=face, kerf_mm=float(kerf.value))

    def why() -> Figure:
        face_figure = figure_of(
            plate_face_mm2, unit="mm2", discs_per_plate=_of_blank(work, "discs_per_plate", "discs_per_plate"),
            blank_volume_mm3=_of_blank(work, "blank_volume_mm3", "volume_mm3", "mm3"),
            blank_thickness_mm=_of_blank(work, "blank_thickness_mm", "thickness_mm", "mm"),
            utilisation=_of_blank(work, "utilisation", "utilisation"),
        )  # fmt: skip
        sawn = figure_of(sawn_volume_mm3, face_mm2=face_figure, kerf_mm=kerf)
        return figure_of(cutting_min, name="run_min", unit="min", volume_mm3=sawn, removal_mm3_per_min=rate.figure())

    minutes = Minutes(cutting_min(volume_mm3=volume, removal_mm3_per_min=rate.mm3_per_min), why)
    plate = _of_blank(work, "batch_size", "discs_per_plate")
    return line("saw", rates, Work(of_batch=minutes, batch_size=blank.discs_per_plate, why_size=lambda: plate, spent=_spent(rate)))


def _core_on_glass(work: ElementWork, rates: Rates) -> Iterator[Line]:
    """A slice is waxed on a backing glass, so that the drill breaks no edge where it comes out; its discs are melted off and washed.

    Notes: a shop that has no place for waxing drills free.
    Source: common practice.
    """
    if not can_take(rates, "wax", "", 0.0):
        yield _core(work, rates)
        return
    of_slice = Work(batch_size=work.blank.discs_per_plate, why_size=lambda: _of_blank(work, "batch_size", "discs_per_plate"))
    yield line("wax", rates, of_slice)
    yield _core(work, rates)
    yield line("melt_off", rates, of_slice)
    yield wash("wax off", rates)


def _core(work: ElementWork, rates: Rates) -> Line:
    blank, rate = work.blank, removal_rate("core", work.glass, rates)
    kerf = _kerf("core_kerf", work, rates)
    volume = core_volume_mm3(diameter_mm=blank.diameter_mm, thickness_mm=blank.thickness_mm, kerf_mm=float(kerf.value))

    def why() -> Figure:
        ring = figure_of(
            core_volume_mm3, diameter_mm=_of_blank(work, "diameter_mm", "diameter_mm", "mm"),
            thickness_mm=_of_blank(work, "thickness_mm", "thickness_mm", "mm"), kerf_mm=kerf,
        )  # fmt: skip
        return figure_of(cutting_min, name="each_min", unit="min", volume_mm3=ring, removal_mm3_per_min=rate.figure())

    minutes = Minutes(cutting_min(volume_mm3=volume, removal_mm3_per_min=rate.mm3_per_min), why)
    return line("core", rates, Work(of_piece=minutes, spent=_spent(rate)))


def generate(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool, method: str = "") -> Line:
    """Generating one face, one piece at a time: the glass that lies over it, at the rate of its class and diameter."""
    blank = work.blank
    rate = generating_rate(work.glass, blank.diameter_mm, rates, method)
    volume = volume_off_face(work, face, rates)

    def why() -> Figure:
        return figure_of(
            generating_min, name="each_min", unit="min", volume_mm3=_volume_figure(work, face, rates),
            removal_mm3_per_min=rate.figure(_of_blank(work, "blank_diameter_mm", "diameter_mm", "mm")),
            spark_out_min=column("spark_out_min", rate.row.spark_out_min, "min", Rates.ref("grinding", rate.row)),
        )  # fmt: skip

    def order() -> tuple[Figure, ...]:
        return (decided("worked", "first" if worked_first else "second", work.order.reason, source="common practice"),)

    minutes = generating_min(volume_mm3=volume, removal_mm3_per_min=rate.mm3_per_min, spark_out_min=rate.row.spark_out_min)
    spent = (Spent(rate.row.consumables_per_batch, Rates.ref("grinding", rate.row)),)
    return line(
        "generate", rates, Work(of_piece=Minutes(minutes, why), spent=spent, remarks=order), face=face.face, method=method,
        diameter_mm=blank.diameter_mm, knee=knee_of("generate", work.demands_on(face), rates), extra=work.extra_work.at("generate"),
    )  # fmt: skip


def volume_off_face(work: ElementWork, face: FaceWork, rates: Rates) -> float:
    """Glass that generating takes off a face of the blank [mm3]."""
    if work.blank.form == "pressing":
        return off_pressing_mm3(area_mm2=face.area_mm2, allowance_mm=_pressed_allowance(work, rates).allowance_mm)
    left = left_on_face_mm(blank_thickness_mm=work.blank.thickness_mm, envelope_mm=work.blank.envelope_mm)
    return off_flat_blank_mm3(over_face_mm3=face.over_mm3, blank_diameter_mm=work.blank.diameter_mm, allowance_mm=left)


def _pressed_allowance(work: ElementWork, rates: Rates) -> AllowanceRow:
    return allowance_row(kind="per_face", form="pressing", diameter_mm=work.diameter_mm, rows=rates.allowances)


def _volume_figure(work: ElementWork, face: FaceWork, rates: Rates) -> Figure:
    if work.blank.form == "pressing":
        row = _pressed_allowance(work, rates)
        allowance = column("allowance_mm", row.allowance_mm, "mm", Rates.ref("allowances", row))
        return figure_of(off_pressing_mm3, area_mm2=_area(work, face), allowance_mm=allowance)
    thickness = _of_blank(work, "blank_thickness_mm", "thickness_mm", "mm")
    left = figure_of(left_on_face_mm, blank_thickness_mm=thickness, envelope_mm=_of_blank(work, "envelope_mm", "envelope_mm", "mm"))
    wide = _of_blank(work, "blank_diameter_mm", "diameter_mm", "mm")
    return figure_of(off_flat_blank_mm3, over_face_mm3=_over_face(work, face), blank_diameter_mm=wide, allowance_mm=left)


AS_DRAWN = "integral over the face as drawn, to the diameter of the blank"


def _over_face(work: ElementWork, face: FaceWork) -> Figure:
    """Glass over a face as a figure: by the sphere's law where the face is one to the rim of the blank."""
    if face.radius_mm is not None:
        radius, sag = given("radius_mm", face.radius_mm, "mm", source=UNSIGNED), _depth(face)
        if face.convex:
            semi = figure_of(semi_diameter_mm, diameter_mm=_of_blank(work, "diameter_mm", "diameter_mm", "mm"))
            over = figure_of(over_convex_mm3, name="over_face_mm3", semi_diameter_mm=semi, radius_mm=radius, sag_mm=sag)
        else:
            over = figure_of(cap_volume_mm3, name="over_face_mm3", radius_mm=radius, sag_mm=sag)
        if over.value == face.over_mm3:
            return over
    return given("over_face_mm3", face.over_mm3, "mm3", source=AS_DRAWN)


def _area(work: ElementWork, face: FaceWork) -> Figure:
    """Area of a face as a figure: by the sphere's law where the face is one to the rim of the blank."""
    if face.radius_mm is None:
        area = figure_of(plane_area_mm2, name="area_mm2", diameter_mm=_of_blank(work, "diameter_mm", "diameter_mm", "mm"))
    else:
        radius = given("radius_mm", face.radius_mm, "mm", source=UNSIGNED)
        area = figure_of(cap_area_mm2, name="area_mm2", radius_mm=radius, sag_mm=_depth(face))
    return area if area.value == face.area_mm2 else given("area_mm2", face.area_mm2, "mm2", source=AS_DRAWN)


UNSIGNED = "the drawing, without its sign"


def _depth(face: FaceWork) -> Figure:
    return given("sag_mm", face.sag_at_blank_mm, "mm", source="the sagitta of the face at the rim of the blank, without its sign")
