"""From stock to a generated piece: sawing plates, coring discs, taking pressings from the store, generating curves."""

from __future__ import annotations

import math
from collections.abc import Iterator

from services.optics.law import column, decided, figure_of, given, law
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.removal import RemovalRate, cutting_min, removal_rate
from services.process.domain.route.edging import rim_figure, rim_of
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lines import Line, Minutes, Spent, Work, line
from services.process.domain.route.rate_rows import can_take
from services.process.domain.route.washing import wash
from services.shop.allowances import Kind, allowance_row
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import Rates

FLAT_DEPTH_MM = 0.5
"""Depth of glass that even a plane face has to lose, in sharing the volume between the faces; common practice for cut blanks."""


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
def generated_volume_mm3(*, blank_mm3: float, lens_mm3: float, rim_mm3: float) -> float:
    """Glass [mm3] that generating takes off both faces: blank less lens less the rim that centring takes.

    Equation: max(blank_mm3 - lens_mm3 - rim_mm3, 0)

    Raises: FigureOutOfRange when the lens is larger than its blank.
    """
    if lens_mm3 > blank_mm3:
        raise FigureOutOfRange("volume of the lens [mm3]", lens_mm3, f"at most that of the blank, {blank_mm3:g} mm3")
    return max(blank_mm3 - lens_mm3 - rim_mm3, 0.0)


@law
def share_of_face(*, sag_mm: float, other_sag_mm: float) -> float:
    """Share of the generated volume that one face gives: the faces share it as their depths, each with half a millimetre more.

    Equation: (sag_mm + 0.5) / (sag_mm + 0.5 + other_sag_mm + 0.5)
    Source: common practice for cut blanks
    """
    own, other = sag_mm + FLAT_DEPTH_MM, other_sag_mm + FLAT_DEPTH_MM
    return own / (own + other)


@law
def face_volume_mm3(*, both_faces_mm3: float, share: float) -> float:
    """Glass [mm3] that generating takes off one face.

    Equation: both_faces_mm3 * share
    """
    return both_faces_mm3 * share


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


def generate(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> Line:
    """Generating one face, one piece at a time, at the rate of the glass's grindability class."""
    both = generated_volume_mm3(blank_mm3=work.blank.volume_mm3, lens_mm3=work.finished_volume_mm3, rim_mm3=rim_of(work))
    other = work.back if face.face == "front" else work.front
    volume = face_volume_mm3(both_faces_mm3=both, share=share_of_face(sag_mm=face.sag_mm, other_sag_mm=other.sag_mm))
    rate = removal_rate("generate", work.glass, rates)

    def why() -> Figure:
        taken_off = figure_of(
            face_volume_mm3,
            both_faces_mm3=_both_faces(work),
            share=figure_of(share_of_face, sag_mm=_depth("sag_mm", face), other_sag_mm=_depth("other_sag_mm", other)),
        )
        return figure_of(cutting_min, name="each_min", unit="min", volume_mm3=taken_off, removal_mm3_per_min=rate.figure())

    def order() -> tuple[Figure, ...]:
        return (decided("worked", "first" if worked_first else "second", work.order.reason, source="common practice"),)

    minutes = Minutes(cutting_min(volume_mm3=volume, removal_mm3_per_min=rate.mm3_per_min), why)
    return line(
        "generate", rates, Work(of_piece=minutes, spent=_spent(rate), remarks=order), face=face.face, diameter_mm=work.blank.diameter_mm,
        knee=knee_of("generate", work.demands_on(face), rates), extra=work.extra_work.at("generate"),
    )  # fmt: skip


def _both_faces(work: ElementWork) -> Figure:
    finished = given("lens_mm3", work.finished_volume_mm3, "mm3", at=f"/check{work.where}/volume_mm3")
    blank = _of_blank(work, "blank_mm3", "volume_mm3", "mm3")
    return figure_of(generated_volume_mm3, blank_mm3=blank, lens_mm3=finished, rim_mm3=rim_figure(work))


def _depth(name: str, face: FaceWork) -> Figure:
    """Depth of a face, without the sign that the check report gives it."""
    return given(name, face.sag_mm, "mm", source=f"sagitta of the {face.face} in the check report, without its sign")
