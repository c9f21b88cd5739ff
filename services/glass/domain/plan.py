"""The blank plan of a lens: for each element the blank, the stock it comes out of, and what the glass costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from services.glass.domain.blank.figures import Reasons, blank_of
from services.glass.domain.blank.options import BlankOption, density_of, out_of_plate
from services.glass.domain.blank.ways import Fitted, by_glass, ways_of
from services.glass.domain.buying.figures import grinding_figure, material_of, stock_figure, thicker_plate_figures
from services.glass.domain.buying.groups import Crossover, Group, GroupLot, Terms, crossover, groups_of
from services.glass.domain.buying.sharing import Grinding, cheapest_grinding
from services.glass.domain.cutting.plan import Cut, plates_of_glass
from services.glass.domain.findings import bought_together, cares_of, thicker_plate
from services.glass.errors import CheckOfAnotherLens
from services.optics.seats import bodies_of
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
    elements, bodies = job.request.prescription.elements, bodies_of(job.request.prescription)
    _the_check_is_of_this_lens(elements, check)
    answers = [
        ways_of(position=position, element=element, finished=bodies[position], checked=checked, rates=rates)
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
    of_glasses = [_of_one_glass(fitted, terms, rates) for fitted in by_glass(ways)]
    positions = {element.name: position for position, element in enumerate(elements)}
    planned = sorted((element for of_glass in of_glasses for element in of_glass.planned), key=lambda element: element.position)
    materials = (material for of_glass in of_glasses for material in of_glass.materials)
    return BlankPlan(
        currency=rates.base_currency,
        blanks=tuple(element.blank for element in planned),
        materials=tuple(sorted(materials, key=lambda material: positions[material.members[0]])),
        findings=(
            *(note for of_glass in of_glasses for note in of_glass.notes),
            *(note for element in planned for note in element.findings),
        ),
        plates=tuple(plate for of_glass in of_glasses for plate in plates_of_glass(of_glass.cuts)) if pictures else (),
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


@dataclass(frozen=True)
class _Glass:
    """What holds for all elements of one glass."""

    row: GlassRow
    terms: Terms
    grinding: Grinding | None
    turns: Mapping[str, Crossover | None]
    rates: Rates


def _of_one_glass(fitted: Sequence[Fitted], terms: Terms, rates: Rates) -> OfOneGlass:
    row = fitted[0].glass
    grinding = cheapest_grinding(grindability_hg=row.grindability_hg, rates=rates)
    terms = terms._replace(work_per_mm3=grinding.cost_per_mm3 if grinding else None)
    groups = groups_of(options={way.element.name: way.options for way in fitted}, density_g_cm3=density_of(row), terms=terms)
    up_to = max(terms.up_to_blanks, CROSSOVER_UP_TO)
    turns = {way.element.name: crossover(options=way.options, up_to_blanks=up_to) for way in fitted}
    glass = _Glass(row, terms, grinding, turns, rates)
    group_of = {member: group for group in groups for member in group.members}
    likely = terms.likely_starts(terms.middle)
    cuts = [
        cut_of(option_of=way.options, lot=group_of[way.element.name].likely_lot(likely), element=way.element.name) for way in fitted
    ]
    known_turns = {element: turn for element, turn in turns.items() if turn is not None}
    return OfOneGlass(
        planned=tuple(_planned(way, cut, group_of[way.element.name], glass) for way, cut in zip(fitted, cuts, strict=True)),
        materials=tuple(material_of(group=group, glass=row, turns=known_turns, rates=rates) for group in groups),
        notes=_notes(groups, [way.position for way in fitted], row.name, terms),
        cuts=tuple(cuts),
    )


def _notes(groups: Sequence[Group], positions: Sequence[int], glass: str, terms: Terms) -> tuple[Finding, ...]:
    together = [(group, [q for q in terms.quantities if group.buys_together(terms.likely_starts(q))]) for group in groups]
    return tuple(
        bought_together(glass=glass, positions=positions, members=group.members, at=() if at == [*terms.quantities] else at)
        for group, at in together
        if at
    )


def cut_of(*, option_of: Mapping[str, BlankOption], lot: GroupLot, element: str) -> Cut:
    """How an element is cut in a lot: in the form that most of its blanks come from."""
    part = lot.part_of(element)
    option = option_of[part.lot.source.stock.name]
    plates = lot.class_of(element)
    if plates is None:
        return Cut(option, lot.blanks, ())
    others = tuple(name for name in plates.elements if name != element)
    return Cut(out_of_plate(option=option, thickness_mm=plates.thickness_mm), lot.blanks, others)


def _planned(way: Fitted, cut: Cut, group: Group, glass: _Glass) -> Planned:
    name, option, terms = way.element.name, cut.option, glass.terms
    own = way.options[option.stock.name]
    turn = glass.turns[name]
    lots = {quantity: group.likely_lot(terms.likely_starts(quantity)).part_of(name).lot for quantity in terms.quantities}
    findings = [*way.grade.findings]
    findings += cares_of(
        position=way.position, option=option, lots=lots, turn=turn if turn and turn.blanks <= terms.up_to_blanks else None
    )
    if option.shape.thickness_mm > own.shape.thickness_mm:
        findings.append(
            thicker_plate(position=way.position, option=option, own_thickness_mm=own.shape.thickness_mm, others=cut.others)
        )
    others = {stock: other for stock, other in way.options.items() if stock != option.stock.name}
    blank = blank_of(
        position=way.position,
        option=option,
        others=tuple(others.values()),
        checked=way.checked,
        glass=glass.row,
        reasons=replace(_reasons(own, cut, others, group, glass), grade=way.grade.figures()),
    )
    return Planned(way.position, blank, tuple(findings))


def _reasons(own: BlankOption, cut: Cut, others: Mapping[str, BlankOption], group: Group, glass: _Glass) -> Reasons:
    """Why the blank comes out of its row, and out of a thicker plate where it does."""
    stock = stock_figure(option=own, others=others, blanks=cut.blanks, shared_with=cut.others, rates=glass.rates)
    if group.parting is None or cut.option.shape.thickness_mm <= own.shape.thickness_mm:
        return Reasons(stock)
    grinding = grinding_figure(glass.grinding) if glass.grinding else None
    return Reasons(stock, thicker_plate_figures(parting=group.parting, grinding=grinding, money=glass.rates.base_currency))


def _the_check_is_of_this_lens(elements: Sequence[Element], check: CheckReport) -> None:
    drawn = tuple(element.name for element in elements)
    checked = tuple(element.name for element in check.elements)
    if drawn != checked:
        raise CheckOfAnotherLens(checked, drawn)
