"""What a drawing demands of an element, resolved into figures: as stated, or by the defaults of ISO 10110-11."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TypeVar, cast

from services.optics.drawing.centring import read_centring
from services.optics.drawing.defaults import TABLE, Defaults, defaults_for
from services.optics.drawing.form import PEAK_OVER_RMS, POWER_OVER_RMS, Form, read_form, read_transmitted_wavefront
from services.optics.drawing.imperfections import (
    Allowed,
    ScratchDig,
    dig_as_grade,
    equal_grade_mm,
    read_assembly_imperfections,
    read_imperfections,
)
from services.optics.drawing.laser import read_laser
from services.optics.drawing.material import read_bubbles, read_homogeneity, read_stress
from services.optics.drawing.texture import read_texture
from services.optics.errors import IndicationUnreadable, SizeOutsideDefaults
from shared_schemas.check import Finding, GlassQuality
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Element, Prescription, Surface

T = TypeVar("T")


@dataclass(frozen=True)
class SurfaceDemand:
    """Demands of one face, in fringe spacings at 546.07 nm and the grade of ISO 10110-7; of its texture only what is stated.

    `planned_grade_mm` is the grade that time is planned by, for all of the number.
    """

    power_fringes: float
    irregularity_fringes: float
    imperfection_count: int
    imperfection_grade_mm: float
    planned_grade_mm: float
    defaulted: tuple[str, ...]
    roughness_nm: float | None = None
    micro_defects: float | None = None


@dataclass(frozen=True)
class ElementDemand:
    """Demands of one element. Lengths are plus and minus: half the width of the zone."""

    front: SurfaceDemand
    back: SurfaceDemand
    diameter_plus_minus_mm: float
    centre_thickness_plus_minus_mm: float
    centring_arcmin: float
    defaulted: tuple[str, ...]
    glass: GlassQuality


@dataclass
class _Reading:
    """What is being read of one element: its column of defaults, and the findings so far."""

    pointer: str
    diameter_mm: float
    column: Defaults
    beyond_table: bool
    findings: list[Finding] = field(default_factory=list)

    def default(self, what: str, where: str, figure: float | str, unit: str, indication: str) -> None:
        """Say that a demand takes its default, or that there is none for a part of this size."""
        if self.beyond_table:
            message = f"The {what} is not stated, and defaults end at a size of {TABLE[-1].up_to_mm:g} mm."
            limit = TABLE[-1].up_to_mm
            self.findings.append(
                finding("tolerance-without-default", where, message, figure=self.diameter_mm, limit=limit, unit="mm", remedy=f"state it, as {indication}")
            )  # fmt: skip
            return
        text = f"{figure:g}" if isinstance(figure, float) else figure
        message = (
            f"The {what} is not stated and takes the default of ISO 10110-11, {text} {unit}".rstrip()
            + " (from memory, check the licensed text)."
        )
        self.findings.append(
            finding("tolerance-defaulted", where, message, figure=figure, unit=unit, remedy=f"state it, as {indication}")
        )

    def read(self, text: str | None, where: str, reader: Callable[[str], T]) -> T | None:
        """What an indication says; one that cannot be read is a finding."""
        if text is None:
            return None
        try:
            return cast(T, _read_once(reader, text))
        except IndicationUnreadable as fault:
            limit = f"{fault.expected} at position {fault.position}"
            said = finding(
                "indication-unreadable", where, str(fault), figure=text, limit=limit[:200], remedy=f"write {fault.expected}"
            )
            self.findings.append(said)
            return None


@lru_cache(maxsize=4096)
def _read_once(reader: Callable[[str], object], text: str) -> object:
    """A drawing repeats itself: the same indication is read once."""
    return reader(text)


def demands_of(*, element: Element, pointer: str) -> tuple[ElementDemand, tuple[Finding, ...]]:
    """The demands of an element at a JSON pointer, and a finding for every default taken and every indication not read."""
    column, beyond = _column(element.diameter_mm)
    reading = _Reading(pointer, element.diameter_mm, column, beyond)
    front = _of_face(reading, element.front, f"{pointer}/front")
    back = _of_face(reading, element.back, f"{pointer}/back")
    given = element.tolerances
    defaulted: list[str] = []
    if given.diameter_mm is None:
        defaulted.append("diameter")
        diameter_mm = column.diameter_plus_minus_mm
        reading.default(
            "tolerance of the diameter",
            f"{pointer}/tolerances/diameter_mm",
            column.diameter_plus_minus_mm,
            "mm plus and minus",
            "[0.0, -0.02]",
        )
    else:
        diameter_mm = (given.diameter_mm[0] - given.diameter_mm[1]) / 2
    thickness_mm = given.centre_thickness_mm
    if thickness_mm is None:
        defaulted.append("centre_thickness")
        thickness_mm = column.thickness_plus_minus_mm
        reading.default(
            "tolerance of the centre thickness",
            f"{pointer}/tolerances/centre_thickness_mm",
            thickness_mm,
            "mm plus and minus",
            "0.05",
        )
    where = f"{pointer}/tolerances/centring"
    centring = reading.read(given.centring, where, read_centring)
    if given.centring is None:
        defaulted.append("centring")
        reading.default("centring tolerance", where, column.centring_arcmin, "arcmin", "4/2'")
    tilt = centring.tilt_arcmin if centring is not None else column.centring_arcmin
    glass = _of_glass(reading, element, pointer)
    demand = ElementDemand(front, back, diameter_mm, thickness_mm, tilt, tuple(defaulted), glass)
    return demand, tuple(reading.findings)


def _of_glass(reading: _Reading, element: Element, pointer: str) -> GlassQuality:
    """What is asked of the glass. Its defaults are what the makers deliver anyway, and make no finding."""
    column = reading.column
    stress = reading.read(element.stress_birefringence, f"{pointer}/stress_birefringence", read_stress)
    bubbles = reading.read(element.bubbles, f"{pointer}/bubbles", read_bubbles)
    classes = reading.read(element.inhomogeneity, f"{pointer}/inhomogeneity", read_homogeneity)
    stated = {"stress birefringence": stress, "bubbles": bubbles, "inhomogeneity": classes}
    return GlassQuality(
        stress_nm_per_cm=column.stress_nm_per_cm if stress is None else stress,
        bubble_count=column.bubble_count if bubbles is None else bubbles.count,
        bubble_grade_mm=column.bubble_grade_mm if bubbles is None else bubbles.grade_mm,
        inhomogeneity_class=column.homogeneity_class if classes is None else classes.inhomogeneity_class,
        striae_class=column.striae_class if classes is None else classes.striae_class,
        defaulted=tuple(name for name, found in stated.items() if found is None),
    )


def lens_indications(prescription: Prescription) -> tuple[Finding, ...]:
    """Findings on the indications of the whole lens: `13/` and `15/`."""
    reading = _Reading("", 0.0, TABLE[0], beyond_table=False)
    reading.read(prescription.transmitted_wavefront, "/transmitted_wavefront", read_transmitted_wavefront)
    reading.read(prescription.assembly_imperfections, "/assembly_imperfections", read_assembly_imperfections)
    return tuple(reading.findings)


def assembly_grade_mm(prescription: Prescription) -> float | None:
    """The grade that `15/` allows the assembly [mm]; None where it is not stated, or not read, which is a finding."""
    text = prescription.assembly_imperfections
    try:
        return None if text is None else read_assembly_imperfections(text).face.grade_mm
    except IndicationUnreadable:
        return None


def _column(diameter_mm: float) -> tuple[Defaults, bool]:
    """The column of defaults; past the table its last one, so that a report has figures, and that it is past the table."""
    try:
        return defaults_for(diameter_mm=diameter_mm), False
    except SizeOutsideDefaults:
        return TABLE[-1], True


def _of_face(reading: _Reading, surface: Surface, where: str) -> SurfaceDemand:
    column = reading.column
    defaulted: list[str] = []
    form = Form(None, None, None) if surface.form is None else reading.read(surface.form, f"{where}/form", read_form)
    power = form.power_demand_fringes if form else None
    irregularity = form.irregularity_demand_fringes if form else None
    if form is not None:
        _say_what_rms_stands_for(reading, form, f"{where}/form")
    texture = reading.read(surface.texture, f"{where}/texture", read_texture)
    reading.read(surface.laser_damage, f"{where}/laser_damage", read_laser)
    missing = (
        [] if form is None else [name for name, figure in (("power", power), ("irregularity", irregularity)) if figure is None]
    )
    if missing:
        defaulted += missing
        taken = {"power": column.power_fringes, "irregularity": column.irregularity_fringes}
        figures = " and ".join(f"{taken[name]:g}" for name in missing)
        reading.default(f"tolerance of {' and '.join(missing)}", f"{where}/form", figures, "fringe spacings", "3/3(0.5)")
    allowed, planned_mm = _imperfections(reading, surface, f"{where}/imperfections", defaulted)
    return SurfaceDemand(
        column.power_fringes if power is None else power,
        column.irregularity_fringes if irregularity is None else irregularity,
        allowed.count,
        allowed.grade_mm,
        planned_mm,
        tuple(defaulted),
        texture.rq_nm if texture else None,
        texture.micro_defects if texture else None,
    )


def _say_what_rms_stands_for(reading: _Reading, form: Form, where: str) -> None:
    """A note where power or irregularity are planned from an RMS term, with the rule."""
    planned = []
    if form.irregularity_rms_sign is not None:
        planned.append(
            f"an irregularity of {form.irregularity_demand_fringes:.3g}, {PEAK_OVER_RMS:g} times its {form.irregularity_rms_sign}"
        )
    if form.power is None and form.power_demand_fringes is not None:
        planned.append(f"a power of {form.power_demand_fringes:.3g}, {POWER_OVER_RMS:.3g} times its RMSt")
    if planned:
        message = f"The form is stated by RMS. Time is planned for {' and '.join(planned)}, in fringe spacings."
        figure = form.power_demand_fringes if form.irregularity_rms_sign is None else form.irregularity_demand_fringes
        reading.findings.append(
            finding("form-from-rms", where, message, figure=figure, unit="fringe spacings", remedy="state it as 3/A(B)")
        )


def _imperfections(reading: _Reading, surface: Surface, where: str, defaulted: list[str]) -> tuple[Allowed, float]:
    """What a face is allowed, and the grade [mm] that time is planned by: that of the dig itself, whose number goes with the size."""
    column = reading.column
    read = reading.read(surface.imperfections, where, read_imperfections)
    if read is None:
        if surface.imperfections is None:
            defaulted.append("imperfections")
            text = f"5/{column.imperfection_count}x{column.imperfection_grade_mm:g}"
            reading.default("tolerance of imperfections", where, text, "", "5/3x0.16")
        return _counted(Allowed(column.imperfection_count, column.imperfection_grade_mm))
    if isinstance(read, ScratchDig):
        taken = dig_as_grade(dig=read.dig, clear_diameter_mm=surface.clear_diameter_mm)
        message = (
            f"{read.scratch}-{read.dig} is kept as given. Time is planned by its dig of {read.dig / 100:g} mm, which comes to "
            f"5/{taken.count}x{taken.grade_mm:g}; its scratch number is compared by eye and is not turned into a width."
        )
        said = finding(
            "scratch-dig-kept",
            where,
            message,
            figure=f"{read.scratch}-{read.dig}",
            limit=f"5/{taken.count}x{taken.grade_mm:g}",
            remedy="state it as 5/NxA; L NxA",
        )
        reading.findings.append(said)
        return taken, taken.grade_mm
    return _counted(read.face)


def _counted(allowed: Allowed) -> tuple[Allowed, float]:
    return allowed, equal_grade_mm(count=allowed.count, grade_mm=allowed.grade_mm)
