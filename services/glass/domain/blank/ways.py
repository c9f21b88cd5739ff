"""Which ways are there to the blank of an element: its glass, and every stock row that it comes out of?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from services.glass.domain.blank.grades import USUAL, Grade, GradeKey, grade_of
from services.glass.domain.blank.options import BlankOption, Misfit, density_of, option_for
from services.optics.body import Body
from services.shop.allowances import largest_finished_diameter_mm
from shared_schemas.check import ElementCheck, Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Element
from shared_schemas.rates import GlassRow, Rates


@dataclass(frozen=True)
class Fitted:
    """An element, and the ways to its blank by the name of the stock row."""

    position: int
    element: Element
    checked: ElementCheck
    glass: GlassRow
    options: Mapping[str, BlankOption]
    grade: Grade = USUAL


def ways_of(*, position: int, element: Element, finished: Body, checked: ElementCheck, rates: Rates) -> Fitted | Finding:
    """The ways to the blank of an element, which is made as `finished`, or the reason why there is none."""
    if checked.glass is None or not any(row.glass == checked.glass for row in rates.stock_forms):
        return not_priced(position=position, element=element)
    largest = largest_finished_diameter_mm(rates=rates)
    if element.diameter_mm > largest:
        return over_the_allowances(position=position, element=element, largest_mm=largest)
    glass = rates.glass(checked.glass)
    grade = grade_of(position=position, element=element, checked=checked, rates=rates)
    if isinstance(grade, Finding):
        return grade
    answers = _answers_of_stock(element=element, finished=finished, glass=glass, grade=grade, rates=rates)
    options = {answer.stock.name: answer for answer in answers if isinstance(answer, BlankOption)}
    if not options:
        misfits = tuple(answer for answer in answers if isinstance(answer, Misfit))
        return too_large_for_all(position=position, element=element, misfits=misfits)
    return Fitted(position, element, checked, glass, options, grade)


def by_glass(ways: Sequence[Fitted]) -> list[list[Fitted]]:
    """Elements of the same glass in the same grade together, in the order of the lens."""
    of_glass: dict[tuple[str, GradeKey], list[Fitted]] = {}
    for way in ways:
        of_glass.setdefault((way.glass.name, way.grade.key), []).append(way)
    return list(of_glass.values())


def _answers_of_stock(
    *, element: Element, finished: Body, glass: GlassRow, grade: Grade, rates: Rates
) -> list[BlankOption | Misfit]:
    density = density_of(glass)
    return [
        option_for(element=element, finished=finished, stock=grade.of(row), density_g_cm3=density, rates=rates)
        for row in rates.stock_forms
        if row.glass == glass.name
    ]


def not_priced(*, position: int, element: Element) -> Finding:
    """A glass that the rates do not know, or have no form of, is checked, but cannot be priced."""
    return finding(
        "glass-not-priced",
        f"/elements/{position}/glass",
        f"{element.name} was checked, but cannot be priced: its glass is given by index alone, or has no row in glasses or in stock_forms.",
        figure=element.glass if isinstance(element.glass, str) else f"nd {element.glass.nd:g}, vd {element.glass.vd:g}",
        limit="a glass of the table glasses",
        remedy="name a catalogue glass, or have its row added to glasses and stock_forms",
    )


def over_the_allowances(*, position: int, element: Element, largest_mm: float) -> Finding:
    """An element larger than the shop has allowances for."""
    return finding(
        "blank-too-large",
        f"/elements/{position}/diameter_mm",
        f"{element.name} has a diameter of {element.diameter_mm:g} mm; the shop cuts blanks for diameters up to {largest_mm:g} mm.",
        figure=element.diameter_mm,
        limit=largest_mm,
        unit="mm",
        remedy=f"a diameter of at most {largest_mm:g} mm",
    )


def too_large_for_all(*, position: int, element: Element, misfits: Sequence[Misfit]) -> Finding:
    """A blank that comes out of no stock row; names what is needed and what each row offers."""
    thick = [misfit for misfit in misfits if misfit.dimension == "thickness"]
    short = [misfit for misfit in thick or misfits if misfit.available_mm < misfit.needed_mm]
    nearest = max(short or misfits, key=lambda misfit: misfit.available_mm)
    what, field = ("thickness", "centre_thickness_mm") if thick else ("diameter", "diameter_mm")
    offers = ", ".join(f"{misfit.stock.name} ({misfit.dimension} {misfit.available_mm:.4g} mm)" for misfit in misfits[:6])
    return finding(
        "blank-too-large",
        f"/elements/{position}/{field}",
        f"The blank of {element.name} needs a {what} of {nearest.needed_mm:.4g} mm; no stock of its glass gives that: {offers}.",
        figure=nearest.needed_mm,
        limit=nearest.available_mm,
        unit="mm",
        remedy=f"a blank of at most {nearest.available_mm:.4g} mm, another glass, or a larger form in stock_forms",
    )
