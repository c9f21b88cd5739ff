"""The blank plan of a lens: for each element the blank, the stock it comes out of, and what the glass costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from services.glass.domain.allowances import largest_finished_diameter_mm
from services.glass.domain.explain import blank_of, material_of
from services.glass.domain.findings import cares_of, not_priced, over_the_allowances, too_large_for_all
from services.glass.domain.options import BlankOption, Misfit, option_for
from services.glass.domain.purchase import Lot, cheapest_lots, lot_for
from services.glass.errors import CheckOfAnotherLens
from shared_schemas.blanks import Blank, BlankPlan, MaterialModel
from shared_schemas.check import CheckReport, ElementCheck, Finding
from shared_schemas.prescription import Element
from shared_schemas.rates import GlassRow, RateMissing, Rates
from shared_schemas.traveller import Job, Refusal

STARTS_PER_PIECE = 1.6
STARTS_AT_LEAST = 30
"""The material model is worked out up to 1.6 starts for each piece of the largest quantity, and 30 more. Beyond, its contract says how it goes on."""


@dataclass(frozen=True)
class Planned:
    """One element planned: the blank in the form that wins at the middle quantity, its material model, what to say of it."""

    blank: Blank
    material: MaterialModel
    findings: tuple[Finding, ...]


def plan_blanks(*, job: Job, check: CheckReport, rates: Rates) -> BlankPlan | Refusal:
    """The blanks of every element and the cost of their glass in the base currency; a refusal where an element has none.

    Raises `RateMissing` for a glass without a density or a stock row, `StockFormIncomplete` for a stock row without its
    sizes, `CheckOfAnotherLens` where check and prescription name different elements.
    """
    elements = job.request.prescription.elements
    _the_check_is_of_this_lens(elements, check)
    quantities = sorted(job.request.quantities)
    planned: list[Planned] = []
    reasons: list[Finding] = []
    for position, (element, checked) in enumerate(zip(elements, check.elements, strict=True)):
        answer = _plan_element(position=position, element=element, checked=checked, quantities=quantities, rates=rates)
        if isinstance(answer, Planned):
            planned.append(answer)
        else:
            reasons.append(answer)
    if reasons:
        return Refusal(stage="glass", reasons=tuple(reasons))
    return BlankPlan(
        currency=rates.base_currency,
        blanks=tuple(one.blank for one in planned),
        materials=tuple(one.material for one in planned),
        findings=tuple(finding for one in planned for finding in one.findings),
    )


def _plan_element(
    *, position: int, element: Element, checked: ElementCheck, quantities: Sequence[int], rates: Rates
) -> Planned | Finding:
    """An element planned, or the reason why it cannot be."""
    if checked.glass is None:
        return not_priced(position=position, element=element)
    largest = largest_finished_diameter_mm(rates=rates)
    if element.diameter_mm > largest:
        return over_the_allowances(position=position, element=element, largest_mm=largest)
    glass = rates.glass(checked.glass)
    answers = _answers_of_stock(element=element, glass=glass, rates=rates)
    options = {answer.stock.name: answer for answer in answers if isinstance(answer, BlankOption)}
    misfits = tuple(answer for answer in answers if isinstance(answer, Misfit))
    if not options:
        return too_large_for_all(position=position, element=element, misfits=misfits)
    up_to = math.ceil(quantities[-1] * STARTS_PER_PIECE) + STARTS_AT_LEAST
    lots = cheapest_lots(
        sources=[option.source for option in options.values()],
        up_to_blanks=up_to,
        minor_units=rates.currency(rates.base_currency).minor_units,
    )
    middle = quantities[(len(quantities) - 1) // 2]
    option = options[lot_for(lots=lots, blanks=middle).source.stock.name]
    return Planned(
        blank=blank_of(option=option, checked=checked, glass=glass),
        material=material_of(element=element.name, glass=glass, lots=lots, rates=rates),
        findings=cares_of(position=position, option=option, lots=_lots_asked_for(lots, quantities)),
    )


def _answers_of_stock(*, element: Element, glass: GlassRow, rates: Rates) -> list[BlankOption | Misfit]:
    if glass.density_g_cm3 is None:
        raise RateMissing("glasses", f"the density of {glass.name}")
    rows = [row for row in rates.stock_forms if row.glass == glass.name]
    if not rows:
        raise RateMissing("stock_forms", f"the glass {glass.name}")
    return [option_for(element=element, stock=row, density_g_cm3=glass.density_g_cm3, rates=rates) for row in rows]


def _lots_asked_for(lots: Sequence[Lot], quantities: Sequence[int]) -> dict[int, Lot]:
    return {quantity: lot_for(lots=lots, blanks=quantity) for quantity in quantities}


def _the_check_is_of_this_lens(elements: Sequence[Element], check: CheckReport) -> None:
    drawn = tuple(element.name for element in elements)
    checked = tuple(element.name for element in check.elements)
    if drawn != checked:
        raise CheckOfAnotherLens(checked, drawn)
