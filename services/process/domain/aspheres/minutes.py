"""How long does an aspheric face take? Form grinding, pre-polishing, and passes of measuring and correcting."""

from __future__ import annotations

import math
from dataclasses import dataclass

from services.optics.departure import form_error_um
from services.optics.fringes import REFERENCE_NM
from services.optics.law import Value, column, figure_of, given, law
from services.process.domain.aspheres.shape import Asphere, allowed_um
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.removal import class_factor_of, grindability_of, scaled_removal
from services.process.domain.route.lines import Minutes, minutes_in_all
from services.process.domain.route.rate_rows import polishing_for
from shared_schemas.figure import Figure, RateRowRef
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import AsphereRow, PolishingRow, Rates


@law
def contour_min(*, contour_min_per_mm: float, work_diameter_mm: float) -> float:
    """Minutes [min] in which a wheel goes along the contour of a face, in two passes.

    Equation: contour_min_per_mm * work_diameter_mm
    """
    return contour_min_per_mm * work_diameter_mm


@law
def departure_min(*, removal_mm3: float, removal_mm3_per_min: float) -> float:
    """Minutes [min] in which the glass between sphere and asphere is ground away.

    Equation: removal_mm3 / removal_mm3_per_min
    """
    return removal_mm3 / removal_mm3_per_min


@law
def face_area_mm2(*, work_diameter_mm: float) -> float:
    """Area [mm2] of a face, taken as flat.

    Equation: pi / 4 * work_diameter_mm ** 2
    """
    return math.pi / 4 * work_diameter_mm**2


@law
def layer_min(*, area_mm2: float, depth_um: float, removal_mm3_per_min: float) -> float:
    """Minutes [min] to polish a layer away.

    Equation: area_mm2 * depth_um / 1000 / removal_mm3_per_min
    """
    return area_mm2 * depth_um / 1000 / removal_mm3_per_min


@law
def polishing_in_glass_mm3_per_min(*, removal_of_row: float, preston_per_pa: float, at_preston_per_pa: float) -> float:
    """Volume polished away per minute [mm3/min] in a glass of another Preston coefficient than the row is stated for.

    Equation: removal_of_row * preston_per_pa / at_preston_per_pa
    Source: F. W. Preston, J. Soc. Glass Technol. 11 (1927), from memory
    """
    return removal_of_row * preston_per_pa / at_preston_per_pa


@law
def passes(*, start_form_um: float, form_um: float, gain: float) -> float:
    """Passes of measuring and correcting from the form after pre-polishing to the one allowed, on average; at least 1.

    Equation: max(1, log(start_form_um / form_um) / log(gain))
    Notes: of a lot some pieces take a pass fewer and some one more, so that a price does not jump where one more is needed.
    Source: 8 um to 0.5 um in three passes, which is a gain of 2.5:
        http://journal.nudt.edu.cn/mvc/gfkjdxxben/article/abstract/200403019?st=article_issue

    Raises: FigureOutOfRange for a form or a gain that leads nowhere.
    """
    if form_um <= 0 or gain <= 1:
        raise FigureOutOfRange(
            "form [um]" if form_um <= 0 else "gain of a pass", min(form_um, gain), "a form above 0, a gain above 1"
        )
    return max(1.0, math.log(start_form_um / form_um) / math.log(gain))


@law
def pass_share(*, typical_form_um: float, form_um: float, sharpness: float) -> float:
    """Share of the pieces within the form allowed, when half of them are within the typical one.

    Equation: 1 / (1 + (typical_form_um / form_um) ** sharpness)
    Notes: log-logistic, near the usual log-normal but with a heavier tail, so that a form tighter by 1 % never takes more than
    about `sharpness` per cent more goes. Common practice in kind; the shape is a convention of ours.

    Raises: FigureOutOfRange for a form that is not above 0.
    """
    if form_um <= 0:
        raise FigureOutOfRange("form [um]", form_um, "figures above 0")
    return float(1 / (1 + (typical_form_um / form_um) ** sharpness))


@law
def repeated_min(*, minutes: float, pass_share: float) -> float:
    """Minutes [min] of something that is done again until it passes.

    Equation: minutes / pass_share
    """
    return minutes / pass_share


@law
def passes_min(*, passes: float, each_min: float) -> float:
    """Minutes [min] of all passes.

    Equation: passes * each_min
    """
    return passes * each_min


@law
def measuring_min(*, measure_min: float, measure_min_per_mrad: float, slope_mrad: float) -> float:
    """Minutes [min] of measuring a face once; the steeper its departure, the smaller the parts that are seen at once.

    Equation: measure_min + measure_min_per_mrad * slope_mrad
    """
    return measure_min + measure_min_per_mrad * slope_mrad


@law
def weighted_departure_um(*, departure_um: float, departure_weight: float) -> float:
    """The form error [um] that half of the pieces stay within when an asphere is polished as a sphere.

    Equation: departure_um * departure_weight
    """
    return departure_um * departure_weight


@dataclass(frozen=True)
class AsphereWork:
    """What is to be done to one aspheric face of an element, by one row of the rates."""

    work: ElementWork
    face: FaceWork
    asphere: Asphere
    row: AsphereRow
    rates: Rates

    @property
    def ref_figures(self) -> tuple[float, float]:
        """The area of the face [mm2] and the form it is allowed [um]."""
        return face_area_mm2(work_diameter_mm=self.work.blank.diameter_mm), allowed_um(self.face.irregularity_fringes)

    def _of_row(self, name: str, unit: str = "") -> Figure:
        return given(name, getattr(self.row, name), unit)

    def _drawn(self, name: str, value: Value, unit: str) -> Figure:
        return given(name, value, unit, source="the face against the sphere through its vertex and its edge")

    @property
    def grinding(self) -> Minutes:
        """Form grinding: the contour, and what lies between the sphere and the asphere."""
        row, removal = self.row, self.asphere.from_reference.removal_mm3
        factor = class_factor_of(grindability_of(self.work.glass).hg, self.rates)
        rate = scaled_removal(removal_of_row=row.form_mm3_per_min, class_factor=factor.value)
        contour = contour_min(contour_min_per_mm=row.contour_min_per_mm, work_diameter_mm=self.work.blank.diameter_mm)
        parts = (contour, departure_min(removal_mm3=removal, removal_mm3_per_min=rate))

        def why() -> Figure:
            scaled = figure_of(
                scaled_removal, name="removal_mm3_per_min", unit="mm3/min", removal_of_row=self._of_row("form_mm3_per_min", "mm3/min"),
                class_factor=factor.figure(grindability_of(self.work.glass)),
            )  # fmt: skip
            along = figure_of(
                contour_min, contour_min_per_mm=self._of_row("contour_min_per_mm", "min/mm"), work_diameter_mm=self._diameter(),
            )  # fmt: skip
            between = figure_of(departure_min, removal_mm3=self._drawn("removal_mm3", removal, "mm3"), removal_mm3_per_min=scaled)
            return figure_of(minutes_in_all, name="run_min", unit="min", rate_row=self._ref, parts_min=[along, between])

        return Minutes(minutes_in_all(parts_min=parts), why)

    @property
    def polishing(self) -> Minutes:
        """Pre-polishing, and the correcting of all passes."""
        row = self.row
        area, _ = self.ref_figures
        pre = layer_min(area_mm2=area, depth_um=row.pre_polish_um, removal_mm3_per_min=self._rate(row.pre_polish_mm3_per_min))
        all_passes = passes_min(passes=self._passes, each_min=self.correcting_once_min)
        repeated = repeated_min(minutes=all_passes, pass_share=self._passing)

        def why() -> Figure:
            once = figure_of(
                minutes_in_all, name="each_min", unit="min",
                parts_min=[self._of_row("set_min", "min"), self._layer("correct", "residual_um", "correct_mm3_per_min")],
            )  # fmt: skip
            before = self._layer("pre-polish", "pre_polish_um", "pre_polish_mm3_per_min")
            return figure_of(
                minutes_in_all,
                name="run_min",
                unit="min",
                rate_row=self._ref,
                parts_min=[before, self._repeated("correcting", once)],
            )

        return Minutes(minutes_in_all(parts_min=(pre, repeated)), why)

    @property
    def measuring(self) -> Minutes:
        """Measuring before each pass."""
        minutes = repeated_min(minutes=passes_min(passes=self._passes, each_min=self.measuring_once_min), pass_share=self._passing)

        def why() -> Figure:
            once = figure_of(
                measuring_min, name="each_min", measure_min=self._of_row("measure_min", "min"),
                measure_min_per_mrad=self._of_row("measure_min_per_mrad", "min/mrad"),
                slope_mrad=self._drawn("slope_mrad", self.asphere.from_reference.slope_mrad, "mrad"),
            )  # fmt: skip
            repeated = self._repeated("measuring", once)
            return figure_of(minutes_in_all, name="run_min", unit="min", rate_row=self._ref, parts_min=[repeated])

        return Minutes(minutes, why)

    @property
    def correcting_once_min(self) -> float:
        """Minutes of one correction, with setting the piece up."""
        area, _ = self.ref_figures
        rate = self._rate(self.row.correct_mm3_per_min)
        layer = layer_min(area_mm2=area, depth_um=self.row.residual_um, removal_mm3_per_min=rate)
        return minutes_in_all(parts_min=(self.row.set_min, layer))

    @property
    def measuring_once_min(self) -> float:
        """Minutes of measuring the face once."""
        row, slope = self.row, self.asphere.from_reference.slope_mrad
        return measuring_min(measure_min=row.measure_min, measure_min_per_mrad=row.measure_min_per_mrad, slope_mrad=slope)

    @property
    def _passes(self) -> float:
        return passes(start_form_um=self.row.start_form_um, form_um=self.ref_figures[1], gain=self.row.gain)

    @property
    def _passing(self) -> float:
        row = self.row
        return pass_share(typical_form_um=row.typical_form_um, form_um=self.ref_figures[1], sharpness=row.sharpness)

    @property
    def _ref(self) -> RateRowRef:
        return Rates.ref("aspheres", self.row)

    @property
    def _polished(self) -> PolishingRow:
        return polishing_for(self.rates, self.work.glass, "single")

    def _rate(self, removal_of_row: float) -> float:
        return polishing_in_glass_mm3_per_min(
            removal_of_row=removal_of_row, preston_per_pa=self._polished.preston_coefficient_per_pa,
            at_preston_per_pa=self.row.at_preston_per_pa,
        )  # fmt: skip

    def _diameter(self) -> Figure:
        return given("work_diameter_mm", self.work.blank.diameter_mm, "mm", at=f"{self.work.where}/blank/diameter_mm")

    def _form(self) -> Figure:
        fringes = given(
            "irregularity_fringes", self.face.irregularity_fringes, "fringe", at=f"/check{self.face.where}/irregularity_fringes"
        )
        wavelength = given("wavelength_nm", REFERENCE_NM, "nm", source="ISO 10110-5, from memory")
        return figure_of(form_error_um, name="form_um", irregularity_fringes=fringes, wavelength_nm=wavelength)

    def _layer(self, name: str, depth: str, rate: str) -> Figure:
        polished = self._polished
        in_glass = figure_of(
            polishing_in_glass_mm3_per_min, unit="mm3/min", removal_of_row=self._of_row(rate, "mm3/min"),
            preston_per_pa=column("preston_per_pa", polished.preston_coefficient_per_pa, "1/Pa", Rates.ref("polishing", polished)),
            at_preston_per_pa=self._of_row("at_preston_per_pa", "1/Pa"),
        )  # fmt: skip
        area = figure_of(face_area_mm2, work_diameter_mm=self._diameter())
        return figure_of(layer_min, name=name, area_mm2=area, depth_um=self._of_row(depth, "um"), removal_mm3_per_min=in_glass)

    def _repeated(self, name: str, once: Figure) -> Figure:
        counted = figure_of(
            passes, unit="", start_form_um=self._of_row("start_form_um", "um"), form_um=self._form(), gain=self._of_row("gain")
        )
        passing = figure_of(
            pass_share, unit="", typical_form_um=self._of_row("typical_form_um", "um"), form_um=self._form(), sharpness=self._of_row("sharpness"),
        )  # fmt: skip
        return figure_of(
            repeated_min,
            name=name,
            minutes=figure_of(passes_min, name="minutes", passes=counted, each_min=once),
            pass_share=passing,
        )


def polished_as_a_sphere(face: FaceWork, asphere: Asphere, row: PolishingRow) -> float:
    """Share of the pieces of an aspheric face that pass when it is polished as a sphere."""
    weighted = weighted_departure_um(departure_um=asphere.from_reference.departure_um, departure_weight=row.departure_weight)
    return pass_share(typical_form_um=weighted, form_um=allowed_um(face.irregularity_fringes), sharpness=row.departure_sharpness)


def passing_figure(face: FaceWork, asphere: Asphere, row: PolishingRow) -> Figure:
    """The share as a figure."""
    departure = given(
        "departure_um",
        asphere.from_reference.departure_um,
        "um",
        source="the face against the sphere through its vertex and its edge",
    )
    weighted = figure_of(
        weighted_departure_um, departure_um=departure, departure_weight=given("departure_weight", row.departure_weight)
    )
    form = given("form_um", allowed_um(face.irregularity_fringes), "um", at=f"/check{face.where}/irregularity_fringes")
    return figure_of(
        pass_share, unit="", rate_row=Rates.ref("polishing", row), typical_form_um=weighted, form_um=form,
        sharpness=given("sharpness", row.departure_sharpness),
    )  # fmt: skip
