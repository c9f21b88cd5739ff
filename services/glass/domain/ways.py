"""Which ways are there to the blank of an element: its glass, and every stock row that it comes out of?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from services.glass.domain.findings import not_priced, over_the_allowances, too_large_for_all
from services.glass.domain.options import BlankOption, Misfit, option_for
from services.shop.allowances import largest_finished_diameter_mm
from shared_schemas.check import ElementCheck, Finding
from shared_schemas.prescription import Element
from shared_schemas.rates import GlassRow, RateMissing, Rates


@dataclass(frozen=True)
class Fitted:
    """An element, and the ways to its blank by the name of the stock row."""

    position: int
    element: Element
    checked: ElementCheck
    glass: GlassRow
    options: Mapping[str, BlankOption]


def ways_of(*, position: int, element: Element, checked: ElementCheck, rates: Rates) -> Fitted | Finding:
    """The ways to the blank of an element, or the reason why there is none."""
    if checked.glass is None or not any(row.glass == checked.glass for row in rates.stock_forms):
        return not_priced(position=position, element=element)
    largest = largest_finished_diameter_mm(rates=rates)
    if element.diameter_mm > largest:
        return over_the_allowances(position=position, element=element, largest_mm=largest)
    glass = rates.glass(checked.glass)
    answers = _answers_of_stock(element=element, glass=glass, rates=rates)
    options = {answer.stock.name: answer for answer in answers if isinstance(answer, BlankOption)}
    if not options:
        misfits = tuple(answer for answer in answers if isinstance(answer, Misfit))
        return too_large_for_all(position=position, element=element, misfits=misfits)
    return Fitted(position, element, checked, glass, options)


def by_glass(ways: Sequence[Fitted]) -> list[list[Fitted]]:
    """Elements of the same glass together, in the order of the lens."""
    found: dict[str, list[Fitted]] = {}
    for one in ways:
        found.setdefault(one.glass.name, []).append(one)
    return list(found.values())


def _answers_of_stock(*, element: Element, glass: GlassRow, rates: Rates) -> list[BlankOption | Misfit]:
    if glass.density_g_cm3 is None:
        raise RateMissing("glasses", f"the density of {glass.name}")
    return [
        option_for(element=element, stock=row, density_g_cm3=glass.density_g_cm3, rates=rates)
        for row in rates.stock_forms
        if row.glass == glass.name
    ]
