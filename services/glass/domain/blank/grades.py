"""In which grade is the glass of an element bought: what its drawing asks of stress, bubbles, homogeneity and striae, and what that costs?"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any

from services.optics.drawing.material import INDEX_VARIATION_1E6, STRIAE_NM_PER_50_MM
from services.optics.fringes import REFERENCE_NM
from services.optics.glass_quality import (
    bubbles_mm2_per_100_cm3,
    homogeneity_path_nm,
    stress_path_nm,
    striae_path_nm,
    wavefront_of_faces_nm,
    waves_of_path,
)
from services.optics.law import column, figure_of, given, law
from services.shop.purchases import graded_lead_days, graded_price_per_kg
from shared_schemas.check import ElementCheck, Finding
from shared_schemas.figure import Figure
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Element
from shared_schemas.rate_rows_of_glass import GlassAttribute
from shared_schemas.rates import GlassGradeRow, PriceStep, Rates, StockFormRow

HIGHEST_FACTOR = 8.0
"""However much is asked of a glass, somebody picks it out of what there is for so many times its price (common practice)."""

SHARE_OF_WAVEFRONT = 0.25
"""A glass that deforms the wave by less than this share of what the faces may is good enough (common practice)."""

UNITS: dict[GlassAttribute, str] = {"stress": "nm/cm", "bubbles": "mm2 in 100 cm3", "homogeneity": "1e-6", "striae": "nm in 50 mm"}
FIELDS: dict[GlassAttribute, str] = {
    "stress": "stress_birefringence",
    "bubbles": "bubbles",
    "homogeneity": "inhomogeneity",
    "striae": "inhomogeneity",
}
GradeKey = tuple[float, float, Decimal]


class GradedStock(StockFormRow):
    """A stock row whose glass is bought in a better grade: its prices, charge and days are those of the grade, which it states besides."""

    factor: Decimal
    certificate_charge: Decimal
    grade_days: float


@law
def between_grades(*, figure: float, looser_figure: float, tighter_figure: float, looser: float, tighter: float) -> float:
    """What lies between two grades of glass, by the logarithm of what they leave: days, or a charge.

    Equation: looser + (tighter - looser) * log(looser_figure / figure) / log(looser_figure / tighter_figure)
    Source: common practice; grades follow each other by a factor, not by a difference.
    """
    return looser + (tighter - looser) * math.log(looser_figure / figure) / math.log(looser_figure / tighter_figure)


@law
def factor_between_grades(*, figure: float, looser_figure: float, tighter_figure: float, looser: float, tighter: float) -> float:
    """Factor on the price of glass between two grades: a power of what is left, through the factors of both.

    Equation: looser * (tighter / looser) ** (log(looser_figure / figure) / log(looser_figure / tighter_figure))
    Source: common practice.
    """
    return looser * math.exp(
        math.log(tighter / looser) * math.log(looser_figure / figure) / math.log(looser_figure / tighter_figure)
    )


@law
def factor_of_grades(*, factors: Sequence[float]) -> float:
    """Factor on the price of glass that is graded by several attributes, to four digits.

    Equation: round(min(product(factors), 8), 4)
    Source: common practice.
    """
    return round(min(math.prod(factors), HIGHEST_FACTOR), 4)


@dataclass(frozen=True)
class Asked:
    """What is asked of one attribute: the figure, as the drawing writes it, and the rows on both sides of it, the same one on a row."""

    attribute: GlassAttribute
    figure: float
    written: str
    why: Figure
    looser: GlassGradeRow
    tighter: GlassGradeRow

    def _between(self, function: Callable[..., float], of: str) -> float:
        looser, tighter = float(getattr(self.looser, of)), float(getattr(self.tighter, of))
        if self.looser is self.tighter:
            return looser
        return function(
            figure=self.figure, looser_figure=self.looser.figure, tighter_figure=self.tighter.figure, looser=looser, tighter=tighter
        )

    @property
    def factor(self) -> float:
        return self._between(factor_between_grades, "price_factor")

    @property
    def days(self) -> float:
        return self._between(between_grades, "more_days")

    @property
    def certificate(self) -> float:
        return self._between(between_grades, "certificate_charge")

    @property
    def usual(self) -> bool:
        """Whether the glass is what anybody gets."""
        return self.factor == 1 and self.days == 0 and self.certificate == 0

    @property
    def words(self) -> str:
        """The attribute with its grade, or the grades it lies between, and what the drawing writes."""
        grades = self.tighter.grade if self.looser is self.tighter else f"between {self.looser.grade} and {self.tighter.grade}"
        return f"{self.attribute} {grades} ({self.written})"

    def figure_of_factor(self) -> Figure:
        """The factor with the rows that it lies between."""
        name = f"factor_of_{self.attribute}"
        if self.looser is self.tighter:
            return column(name, self.factor, "", Rates.ref("glass_grades", self.looser))
        inputs: dict[str, Any] = {
            f"{side}{ending}": column(f"{side}{ending}", getattr(row, of), unit, Rates.ref("glass_grades", row))
            for side, row in (("looser", self.looser), ("tighter", self.tighter))
            for ending, of, unit in (("_figure", "figure", UNITS[self.attribute]), ("", "price_factor", ""))
        }
        return figure_of(factor_between_grades, name=name, unit="", figure=self.why, **inputs)


@dataclass(frozen=True)
class Grade:
    """In which grade the glass of an element is bought; `asked` has the attributes by which it is better than the usual."""

    asked: tuple[Asked, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def factor(self) -> float:
        return factor_of_grades(factors=[one.factor for one in self.asked])

    @property
    def days(self) -> float:
        """The slowest of what is asked: one piece of glass is chosen and annealed for all of it."""
        return max((one.days for one in self.asked), default=0.0)

    @property
    def certificate(self) -> Decimal:
        """One certificate states all that was measured: the dearest, to the cent."""
        return Decimal(str(round(max((one.certificate for one in self.asked), default=0.0), 2)))

    @property
    def key(self) -> GradeKey:
        """What tells grades apart: glass of one lot is of one."""
        return self.factor, self.days, self.certificate

    def of(self, row: StockFormRow) -> StockFormRow:
        """A stock row in this grade; the row itself where the grade is the usual.

        Notes: a piece in the store is tested and chosen as one that is bought, and worth as much; it is there already.
        """
        if not self.asked:
            return row
        factor, days = Decimal(str(self.factor)), self.days
        express = row.express_lead_days
        graded = {
            "prices": tuple(
                PriceStep(
                    from_kg=step.from_kg, price_per_kg=graded_price_per_kg(price_per_kg=step.price_per_kg, grade_factor=factor)
                )
                for step in row.prices
            ),
            "lot_charge": row.lot_charge + self.certificate,
            "lead_days": graded_lead_days(lead_days=row.lead_days, grade_days=days),
            "express_lead_days": None if express is None else graded_lead_days(lead_days=express, grade_days=days),
        }
        return GradedStock(**{**dict(row), **graded}, factor=factor, certificate_charge=self.certificate, grade_days=days)

    def figures(self) -> tuple[Figure, ...]:
        """The factor on the price of the glass, down to what is asked and the rows."""
        if not self.asked:
            return ()
        return (figure_of(factor_of_grades, name="grade_factor", unit="", factors=[one.figure_of_factor() for one in self.asked]),)


USUAL = Grade()


def grade_of(*, position: int, element: Element, checked: ElementCheck, rates: Rates) -> Grade | Finding:
    """The grade in which the glass of an element is bought; a stop where an attribute is asked finer than the finest row.

    Notes: where the rates have no row of an attribute that is stated, a finding says that it is not priced.
    """
    asked: list[Asked] = []
    findings: list[Finding] = []
    for attribute, figure, written, why, stated in _demands(position, element, checked):
        rows = sorted((row for row in rates.glass_grades if row.attribute == attribute), key=lambda row: -row.figure)
        where = f"/elements/{position}/{FIELDS[attribute]}"
        if not rows:
            findings += [_not_priced(attribute, written, where)] if stated else []
            continue
        if figure < rows[-1].figure * (1 - 1e-9):
            return _unmeetable(attribute, figure, written, where, rows[-1])
        one = Asked(attribute, figure, written, why, *_around(figure, rows))
        if not one.usual:
            asked.append(one)
            findings += _unneeded(one, rows, element, checked, where)
    grade = Grade(tuple(asked))
    return Grade(grade.asked, (*_graded(grade, element, position), *findings))


def _around(figure: float, rows: Sequence[GlassGradeRow]) -> tuple[GlassGradeRow, GlassGradeRow]:
    """The rows on both sides of a figure, loosest first; twice the same one on a row, and above the loosest."""
    if figure >= rows[0].figure:
        return rows[0], rows[0]
    for looser, tighter in pairwise(rows):
        if abs(figure - tighter.figure) <= 1e-9 * tighter.figure:
            return tighter, tighter
        if tighter.figure < figure:
            return looser, tighter
    return rows[-1], rows[-1]


def _demands(position: int, element: Element, checked: ElementCheck) -> Iterator[tuple[GlassAttribute, float, str, Figure, bool]]:
    """What is asked, in the figure of the table: attribute, figure, as the drawing writes it, why, and whether it is stated."""
    quality = checked.glass_quality
    if quality is None:
        return

    def figure(attribute: GlassAttribute, value: float, source: str) -> Figure:
        indication: str | None = getattr(element, FIELDS[attribute])
        return given("figure", value, UNITS[attribute], source=f"{source}, {indication or 'by default'}")

    if quality.stress_nm_per_cm is not None:
        why = figure("stress", quality.stress_nm_per_cm, "stress birefringence")
        yield (
            "stress",
            quality.stress_nm_per_cm,
            f"0/{quality.stress_nm_per_cm:g}",
            why,
            "stress birefringence" not in quality.defaulted,
        )
    if quality.bubble_count is not None and quality.bubble_grade_mm is not None:
        why = figure_of(
            bubbles_mm2_per_100_cm3, name="figure", unit=UNITS["bubbles"],
            count=given("count", quality.bubble_count, source=f"the N of {element.bubbles or 'the default'}"),
            grade_mm=given("grade_mm", quality.bubble_grade_mm, "mm", source=f"the A of {element.bubbles or 'the default'}"),
            volume_mm3=given("volume_mm3", checked.volume_mm3, "mm3", at=f"/check/elements/{position}/volume_mm3"),
        )  # fmt: skip
        area = bubbles_mm2_per_100_cm3(count=quality.bubble_count, grade_mm=quality.bubble_grade_mm, volume_mm3=checked.volume_mm3)
        yield "bubbles", area, f"1/{quality.bubble_count}x{quality.bubble_grade_mm:g}", why, "bubbles" not in quality.defaulted
    stated = "inhomogeneity" not in quality.defaulted
    if quality.inhomogeneity_class is not None:
        variation, name = INDEX_VARIATION_1E6[quality.inhomogeneity_class], f"class {quality.inhomogeneity_class} of inhomogeneity"
        yield "homogeneity", variation, f"2/{quality.inhomogeneity_class}", figure("homogeneity", variation, name), stated
    if quality.striae_class is not None:
        path, name = STRIAE_NM_PER_50_MM[quality.striae_class - 1], f"class {quality.striae_class} of striae"
        yield "striae", path, f"2/-;{quality.striae_class}", figure("striae", path, name), stated


def _graded(grade: Grade, element: Element, position: int) -> Iterator[Finding]:
    """What is bought, for the offer: the grade by its name, what it makes of the price and how much longer it takes."""
    if not grade.asked:
        return
    days = math.ceil(grade.days - 1e-9)
    longer = f" and takes {days} {'day' if days == 1 else 'days'} more" if days else ""
    grades = ", ".join(one.words for one in grade.asked)
    yield finding(
        "glass-graded", f"/elements/{position}/glass",
        f"The glass of {element.name} is bought in a better grade, {grades}; that costs {grade.factor:.4g} times as much as the usual{longer}.",
        figure=grade.factor, limit=1.0, row=", ".join(dict.fromkeys(one.tighter.name for one in grade.asked)),
    )  # fmt: skip


def _not_priced(attribute: GlassAttribute, written: str, where: str) -> Finding:
    return finding(
        "glass-grade-not-priced", where, f"The rates have no grades of {attribute}: {written} is asked for, and not in the price.",
        figure=written, limit="rows of glass_grades", remedy=f"rows for {attribute} in glass_grades, or the glass of the shop's usual quality",
    )  # fmt: skip


def _unmeetable(attribute: GlassAttribute, figure: float, written: str, where: str, finest: GlassGradeRow) -> Finding:
    unit = UNITS[attribute]
    return finding(
        "glass-grade-unmeetable", where,
        f"{written} asks for glass of a {attribute} of {figure:.3g} {unit}; the finest grade that is bought is {finest.grade}, {finest.figure:g} {unit}.",
        figure=figure, limit=finest.figure, unit=unit, row=finest.name, remedy=f"a {attribute} of {finest.figure:g} {unit} or more",
    )  # fmt: skip


def _path_nm(attribute: GlassAttribute, figure: float, thickness_mm: float) -> float | None:
    """What glass of a figure does to a wave [nm]; `None` for bubbles, which only scatter."""
    if attribute == "homogeneity":
        return homogeneity_path_nm(index_variation_1e6=figure, thickness_mm=thickness_mm)
    if attribute == "stress":
        return stress_path_nm(stress_nm_per_cm=figure, thickness_mm=thickness_mm)
    return striae_path_nm(striae_nm_per_50_mm=figure, thickness_mm=thickness_mm) if attribute == "striae" else None


def _unneeded(
    asked: Asked, rows: Sequence[GlassGradeRow], element: Element, checked: ElementCheck, where: str
) -> Iterator[Finding]:
    """A note where a looser grade would do: its share of the wavefront is small beside what the faces may do to it."""
    budget = SHARE_OF_WAVEFRONT * wavefront_of_faces_nm(
        refractive_index=checked.refractive_index,
        front_fringes=checked.front.irregularity_fringes,
        back_fringes=checked.back.irregularity_fringes,
    )
    for row in rows:
        path = _path_nm(asked.attribute, row.figure, element.centre_thickness_mm)
        if path is None or row.figure <= asked.figure * (1 + 1e-9):
            return
        if path <= budget:
            waves = waves_of_path(path_nm=path, wavelength_nm=REFERENCE_NM)
            yield finding(
                "glass-grade-unneeded", where,
                f"{asked.written} is asked of {element.name}, {element.centre_thickness_mm:g} mm thick; {asked.attribute} {row.grade} would deform "
                f"the wave by {waves:.2g} of a wavelength, less than a quarter of what its faces may.",
                figure=path, limit=budget, unit="nm", row=row.name, remedy=f"{asked.attribute} {row.grade}, {row.figure:g} {UNITS[asked.attribute]}",
            )  # fmt: skip
            return
