"""The blank plan of a lens: for each element the blank, the stock it comes out of, and what the glass costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from services.glass.domain.buying import Crossover, Group, Terms, crossover, groups_of
from services.glass.domain.cutting_plan import Cut, cut_of, plates_of_glass
from services.glass.domain.explain import blank_of, density_of, material_of
from services.glass.domain.findings import bought_together, cares_of, thicker_plate
from services.glass.domain.grinding_cost import work_per_mm3
from services.glass.domain.ways import Fitted, by_glass, ways_of
from services.glass.errors import CheckOfAnotherLens
from shared_schemas.blanks import Blank, BlankPlan, MaterialModel
from shared_schemas.check import CheckReport, Finding
from shared_schemas.prescription import Element
from shared_schemas.rates import GlassRow, Rates
from shared_schemas.traveller import Job, Refusal

STARTS_PER_PIECE = 2
STARTS_AT_LEAST = 120
"""The material model is worked out up to two starts for each piece of the largest quantity, and 120 more: its last steps, which
are cut off there, serve no quantity then. Beyond, its contract says how it goes on."""

CROSSOVER_UP_TO = 2000
"""So far at least the plan looks for the number of blanks from which on pressing is cheaper."""


def plan_blanks(*, job: Job, check: CheckReport, rates: Rates, pictures: bool = False) -> BlankPlan | Refusal:
    """The blanks of every element and the cost of their glass in the base currency; a refusal where an element has none.

    Args:
        pictures: whether the plan has its plates, each with a picture.

    Raises `RateMissing` for a glass without a density or a stock row, `StockFormIncomplete` for a stock row without its
    sizes, `CheckOfAnotherLens` where check and prescription name different elements.
    """
    elements = job.request.prescription.elements
    _the_check_is_of_this_lens(elements, check)
    answers = [
        ways_of(position=position, element=element, checked=checked, rates=rates)
        for position, (element, checked) in enumerate(zip(elements, check.elements, strict=True))
    ]
    reasons = tuple(answer for answer in answers if isinstance(answer, Finding))
    if reasons:
        return Refusal(stage="glass", reasons=reasons)
    ways = [answer for answer in answers if isinstance(answer, Fitted)]
    quantities = tuple(sorted(job.request.quantities))
    terms = Terms(
        quantities=quantities,
        up_to_blanks=quantities[-1] * STARTS_PER_PIECE + STARTS_AT_LEAST,
        minor_units=rates.currency(rates.base_currency).minor_units,
    )
    of_glasses = [_of_one_glass(found, terms, rates) for found in by_glass(ways)]
    positions = {element.name: position for position, element in enumerate(elements)}
    planned = sorted((one for found in of_glasses for one in found.planned), key=lambda one: one.position)
    materials = (material for found in of_glasses for material in found.materials)
    return BlankPlan(
        currency=rates.base_currency,
        blanks=tuple(one.blank for one in planned),
        materials=tuple(sorted(materials, key=lambda material: positions[material.members[0]])),
        findings=(*(note for found in of_glasses for note in found.notes), *(note for one in planned for note in one.findings)),
        plates=tuple(plate for found in of_glasses for plate in plates_of_glass(found.cuts)) if pictures else (),
    )


@dataclass(frozen=True)
class Planned:
    """One element planned: the blank in the form that wins at the middle quantity, and what to say of it."""

    position: int
    blank: Blank
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class OfOneGlass:
    """All elements of one glass planned, what their glass costs, and the plates that they are cut from."""

    planned: tuple[Planned, ...]
    materials: tuple[MaterialModel, ...]
    notes: tuple[Finding, ...]
    cuts: tuple[Cut, ...]


def _of_one_glass(fitted: Sequence[Fitted], terms: Terms, rates: Rates) -> OfOneGlass:
    glass = fitted[0].glass
    terms = terms._replace(work_per_mm3=work_per_mm3(grindability_hg=glass.grindability_hg, rates=rates))
    groups = groups_of(options={one.element.name: one.options for one in fitted}, density_g_cm3=density_of(glass), terms=terms)
    group_of = {member: group for group in groups for member in group.members}
    turns = {
        one.element.name: crossover(options=one.options, up_to_blanks=max(terms.up_to_blanks, CROSSOVER_UP_TO)) for one in fitted
    }
    likely = terms.likely_starts(terms.middle)
    planned, cuts = [], []
    for one in fitted:
        name = one.element.name
        group = group_of[name]
        cut = cut_of(option_of=one.options, lot=group.likely_lot(likely), element=name)
        cuts.append(cut)
        planned.append(_planned(one, cut, group, turns[name], terms, glass))
    together = [(group, [q for q in terms.quantities if group.buys_together(terms.likely_starts(q))]) for group in groups]
    positions = [one.position for one in fitted]
    return OfOneGlass(
        planned=tuple(planned),
        materials=tuple(
            material_of(group=group, glass=glass, turns={n: t for n, t in turns.items() if t is not None}, rates=rates)
            for group in groups
        ),
        notes=tuple(
            bought_together(
                glass=glass.name, positions=positions, members=group.members, at=() if at == [*terms.quantities] else at
            )
            for group, at in together
            if at
        ),
        cuts=tuple(cuts),
    )


def _planned(one: Fitted, cut: Cut, group: Group, turn: Crossover | None, terms: Terms, glass: GlassRow) -> Planned:
    name, option = one.element.name, cut.option
    own_thickness_mm = one.options[option.stock.name].shape.thickness_mm
    lots = {quantity: group.likely_lot(terms.likely_starts(quantity)).part_of(name).lot for quantity in terms.quantities}
    cares = cares_of(
        position=one.position,
        option=option,
        lots=lots,
        turn=turn if turn and turn.blanks <= terms.up_to_blanks else None,
    )
    thicker = (
        (thicker_plate(position=one.position, option=option, own_thickness_mm=own_thickness_mm, others=cut.others),)
        if option.shape.thickness_mm > own_thickness_mm
        else ()
    )
    others = [other for stock, other in one.options.items() if stock != option.stock.name]
    return Planned(one.position, blank_of(option=option, others=others, checked=one.checked, glass=glass), (*cares, *thicker))


def _the_check_is_of_this_lens(elements: Sequence[Element], check: CheckReport) -> None:
    drawn = tuple(element.name for element in elements)
    checked = tuple(element.name for element in check.elements)
    if drawn != checked:
        raise CheckOfAnotherLens(checked, drawn)
