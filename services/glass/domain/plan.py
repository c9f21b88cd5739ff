"""The blank plan of a lens: for each element its blank in every form that may be the cheapest, the stock it comes out of, and what the glass costs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.glass.domain.blank.candidates import Candidates, RoughWork, Workshop, by_form, candidates_of
from services.glass.domain.blank.figures import Reasons, blank_of
from services.glass.domain.blank.options import PLATE_FORMS, BlankOption, density_of
from services.glass.domain.blank.ways import Fitted, by_glass, ways_of
from services.glass.domain.buying.figures import (
    grinding_figure,
    left_out_figure,
    material_of,
    stock_figure,
    thicker_plate_figures,
)
from services.glass.domain.buying.groups import REFERENCE_BLANKS, Crossover, Group, Terms, crossover, groups_of
from services.glass.domain.buying.purchase import Lot
from services.glass.domain.buying.sharing import cheapest_grinding
from services.glass.domain.cutting.plan import Cut, plates_of_glass
from services.glass.domain.findings import bought_together, cares_of, thicker_plate
from services.glass.domain.supplied import alike_as_supplied, cut_from_his_glass, his_blank, supplied_by_element
from services.glass.errors import CheckOfAnotherLens
from services.optics.seats import alike_elements, bodies_of
from shared_schemas.blanks import Blank, BlankForm, BlankPlan, MaterialModel
from shared_schemas.check import CheckReport, Finding
from shared_schemas.figure import Figure
from shared_schemas.prescription import Element
from shared_schemas.rates import GlassRow, Rates
from shared_schemas.traveller import Job, Refusal

STARTS_PER_PIECE = 2
STARTS_AT_LEAST = 120
"""The material model is worked out up to two starts for each piece of the largest quantity, as many times as an element is in the lens,
and 120 more. Beyond, its contract says how it goes on."""

CROSSOVER_UP_TO = 2000
"""So far the plan looks for the number of blanks from which on pressing is cheaper."""


def plan_blanks(*, job: Job, check: CheckReport, rates: Rates, pictures: bool = False) -> BlankPlan | Refusal:
    """The blanks of every kind of element and the cost of their glass in the base currency; a refusal where an element has none.

    Args:
        pictures: whether the plan has its plates, each with a picture.

    Raises `RateMissing` for a glass without a density or a stock row, `StockFormIncomplete` for a stock row without its
    sizes, `CheckOfAnotherLens` where check and prescription name different elements.
    """
    rates = rates.in_order
    request = job.request
    elements, bodies = request.prescription.elements, bodies_of(request.prescription)
    _the_check_is_of_this_lens(elements, check)
    alike = alike_elements(prescription=request.prescription, bodies=bodies)
    alike = alike_as_supplied(alike, [element.name for element in elements], request.supplied)
    his_blanks = supplied_by_element(request.supplied, "blank")

    def answer(position: int) -> Fitted | Planned | Finding:
        element = elements[position]
        if element.name in his_blanks:
            place, entry = his_blanks[element.name]
            made = his_blank(
                place=place, entry=entry, position=position, element=element, finished=bodies[position],
                checked=check.elements[position], rates=rates,
            )  # fmt: skip
            return made if isinstance(made, Finding) else Planned(position, made[0], (), (made[1],))
        return ways_of(position=position, element=element, finished=bodies[position], checked=check.elements[position], rates=rates)

    answers = {element.name: answer(position) for position, element in enumerate(elements) if element.name not in alike}
    refused = {name for name, one in answers.items() if isinstance(one, Finding)}
    if refused:
        places = [place for place, element in enumerate(elements) if alike.get(element.name, element.name) in refused]
        return Refusal(stage="glass", reasons=tuple(one for one in map(answer, places) if isinstance(one, Finding)))
    copies = Counter(alike.get(element.name, element.name) for element in elements)
    his_glass = supplied_by_element(request.supplied, "glass")
    fitted = [one for one in answers.values() if isinstance(one, Fitted)]
    his = [_of_his_glass(one, _terms(job, copies, [one], rates), rates) for one in fitted if one.element.name in his_glass]
    ways = [one for one in fitted if one.element.name not in his_glass]
    of_glasses = [_of_one_glass(of_glass, _terms(job, copies, of_glass, rates), rates) for of_glass in by_glass(ways)]
    supplied = [*his, *(one for one in answers.values() if isinstance(one, Planned))]
    planned = sorted((*(one for of in of_glasses for one in of.planned), *supplied), key=lambda one: one.position)
    positions = {element.name: position for position, element in enumerate(elements)}
    materials = (
        *(material for of_glass in of_glasses for material in of_glass.materials),
        *(material for one in supplied for material in one.materials),
    )
    return BlankPlan(
        currency=rates.base_currency,
        blanks=tuple(blank for element in planned for blank in element.blanks),
        materials=tuple(sorted(materials, key=lambda material: positions[material.members[0]])),
        alike=alike,
        findings=(
            *(note for of_glass in of_glasses for note in of_glass.notes),
            *(note for element in planned for note in element.findings),
        ),
        plates=tuple(plate for of_glass in of_glasses for plate in plates_of_glass(of_glass.cuts)) if pictures else (),
    )


def _terms(job: Job, copies: Mapping[str, int], fitted: Sequence[Fitted], rates: Rates) -> Terms:
    """What holds for the elements of one glass; a lot is of all that are alike."""
    quantities = tuple(sorted(job.request.quantities))
    most = max(copies[way.element.name] for way in fitted)
    return Terms(
        quantities=quantities,
        up_to_blanks=(quantities[-1] * most + _spare_elements(job)) * STARTS_PER_PIECE + STARTS_AT_LEAST,
        minor_units=rates.currency(rates.base_currency).minor_units,
        grinding=cheapest_grinding(grindability_hg=fitted[0].glass.grindability_hg, rates=rates),
    )


def _spare_elements(job: Job) -> int:
    """The most spare parts that an element is wanted for."""
    return sum(spare.pieces for spare in job.request.spares)


@dataclass(frozen=True)
class Planned:
    """One element planned: its blanks, the form first that is likeliest at a middling number, whatever is asked for, and what to say of it.

    `materials` is glass of its own, which the customer supplies.
    """

    position: int
    blanks: tuple[Blank, ...]
    findings: tuple[Finding, ...]
    materials: tuple[MaterialModel, ...] = ()


@dataclass(frozen=True)
class OfOneGlass:
    """All elements of one glass planned, what their glass costs, and the plates that they are cut from."""

    planned: tuple[Planned, ...]
    materials: tuple[MaterialModel, ...]
    notes: tuple[Finding, ...]
    cuts: tuple[Cut, ...]


@dataclass(frozen=True)
class _Glass:
    """What holds for all elements of one glass: their candidates, and the purchases in each form."""

    row: GlassRow
    terms: Terms
    shop: Workshop
    candidates: Mapping[str, Candidates]
    groups: Mapping[BlankForm, tuple[Group, ...]]
    turns: Mapping[str, Crossover]
    rates: Rates

    def group(self, form: BlankForm, element: str) -> Group:
        """The purchase that an element has its part in, in one of its forms."""
        return next(group for group in self.groups[form] if element in group.members)

    def own_lot(self, form: BlankForm, element: str, blanks: int) -> Lot:
        """What an element buys for itself in one of its forms."""
        (part,) = self.group(form, element).own(element).lot_for(blanks).parts
        return part.lot

    def likeliest(self, element: str, blanks: int) -> list[BlankForm]:
        """The forms of an element, that first which so many blanks cost least in, with a rough figure of the work."""

        def cost(form: BlankForm) -> float:
            ways = [way for way in self.group(form, element).options[element].values() if way.stock.form == form]
            works = [self.shop.rough_work(way) for way in ways]
            work = RoughWork(min(one.once for one in works), min(one.each for one in works))
            return float(self.own_lot(form, element, blanks).cost) + float(work.of(blanks))

        return sorted(self.candidates[element].forms, key=cost)


def _of_one_glass(fitted: Sequence[Fitted], terms: Terms, rates: Rates) -> OfOneGlass:
    glass = _glass(fitted, terms, rates)
    likely = terms.likely_starts(terms.middle)
    firsts = {way.element.name: glass.likeliest(way.element.name, REFERENCE_BLANKS) for way in fitted}
    cuts = [_cut(glass.group(firsts[way.element.name][0], way.element.name), way.element.name, likely) for way in fitted]
    models = [
        material_of(group=group, form=form, glass=glass.row, turns=glass.turns if form == "pressing" else {}, rates=rates)
        for form, groups in glass.groups.items()
        for group in groups
    ]
    return OfOneGlass(
        planned=tuple(_planned(way, firsts[way.element.name], glass) for way in fitted),
        materials=tuple(models),
        notes=_notes(glass, {name: forms[0] for name, forms in firsts.items()}, [way.position for way in fitted]),
        cuts=tuple(cuts),
    )


def _of_his_glass(fitted: Fitted, terms: Terms, rates: Rates) -> Planned:
    """An element out of glass that the customer supplies: cut as the shop would cut its own."""
    (planned,) = _of_one_glass([fitted], terms, rates).planned
    stock = next(blank.stock for blank in planned.blanks if blank.form != "pressing" or blank is planned.blanks[-1])
    blanks, material = cut_from_his_glass(planned.blanks, fitted.options[stock].bought_per_blank_g)
    return Planned(planned.position, blanks, fitted.grade.findings, (material,))


def _glass(fitted: Sequence[Fitted], terms: Terms, rates: Rates) -> _Glass:
    row = fitted[0].glass
    shop = Workshop(row, terms.grinding, rates)
    sharing = sum(any(option.stock.form in PLATE_FORMS for option in way.options.values()) for way in fitted)
    candidates = {way.element.name: candidates_of(options=way.options, sharing=max(sharing, 1), shop=shop) for way in fitted}
    of_form: dict[BlankForm, dict[str, dict[str, BlankOption]]] = {}
    for way in fitted:
        for form, options in by_form(way.options.values()).items():
            if form in candidates[way.element.name].forms:
                of_form.setdefault(form, {})[way.element.name] = {option.stock.name: option for option in options}
    groups = {form: groups_of(options=options, density_g_cm3=density_of(row), terms=terms) for form, options in of_form.items()}
    turns = {way.element.name: crossover(options=way.options, up_to_blanks=CROSSOVER_UP_TO) for way in fitted}
    known = {
        name: turn
        for name, turn in turns.items()
        if turn is not None and {turn.pressed.stock.form, turn.cut.stock.form} <= {*candidates[name].forms}
    }
    return _Glass(row, terms, shop, candidates, groups, known, rates)


def _notes(glass: _Glass, firsts: Mapping[str, BlankForm], positions: Sequence[int]) -> tuple[Finding, ...]:
    """What is bought together, of the purchases that all members are likeliest to be made out of."""
    terms = glass.terms
    groups = [
        group
        for form, of_form in glass.groups.items()
        for group in of_form
        if all(firsts[member] == form for member in group.members)
    ]
    together = [(group, [q for q in terms.quantities if group.buys_together(terms.likely_starts(q))]) for group in groups]
    return tuple(
        bought_together(
            glass=glass.row.name, positions=positions, members=group.members, at=() if at == [*terms.quantities] else at
        )
        for group, at in together
        if at
    )


def _cut(group: Group, element: str, blanks: int) -> Cut:
    """How an element is cut when about so many blanks of it are bought: out of the row that most of them come from."""
    lot = group.likely_lot(blanks)
    part = lot.part_of(element)
    plates = lot.class_of(element)
    others = tuple(name for name in plates.elements if name != element) if plates else ()
    return Cut(group.options[element][part.lot.source.stock.name], lot.blanks, others)


def _planned(way: Fitted, forms: Sequence[BlankForm], glass: _Glass) -> Planned:
    name, terms = way.element.name, glass.terms
    turn = glass.turns.get(name)
    lots = {quantity: _cheapest_lot(glass, name, terms.likely_starts(quantity)) for quantity in terms.quantities}
    cuts = {form: _cut(glass.group(form, name), name, REFERENCE_BLANKS) for form in forms}
    findings = [*way.grade.findings]
    findings += cares_of(
        position=way.position,
        option=cuts[forms[0]].option,
        lots=lots,
        turn=turn if turn and turn.blanks <= terms.up_to_blanks else None,
    )
    for form, cut in cuts.items():
        own_mm = way.options[cut.option.stock.name].shape.thickness_mm
        if cut.option.shape.thickness_mm > own_mm:
            mates = glass.group(form, name).plate_mates(name)
            findings.append(thicker_plate(position=way.position, option=cut.option, own_thickness_mm=own_mm, others=mates))
    return Planned(way.position, tuple(_blank(way, form, cut, glass) for form, cut in cuts.items()), tuple(findings))


def _cheapest_lot(glass: _Glass, element: str, blanks: int) -> Lot:
    """The cheapest glass of an element for so many blanks, whatever its form."""
    lots = [glass.own_lot(form, element, blanks) for form in glass.candidates[element].forms]
    return min(lots, key=lambda lot: (lot.cost, Decimal(repr(lot.lead_days))))


def _blank(way: Fitted, form: BlankForm, cut: Cut, glass: _Glass) -> Blank:
    """The blank in one form, out of the row that most of `REFERENCE_BLANKS` come from: the same whatever is asked for."""
    name, option = way.element.name, cut.option
    group = glass.group(form, name)
    others = {stock: other for stock, other in group.options[name].items() if stock != option.stock.name}
    own = way.options[option.stock.name]
    stock = stock_figure(option=own, others=others, blanks=cut.blanks, shared_with=cut.others, rates=glass.rates)
    thicker: tuple[Figure, ...] = ()
    if group.parting is not None and option.shape.thickness_mm > own.shape.thickness_mm:
        grinding = glass.terms.grinding
        cost = grinding_figure(grinding, diameter_mm=option.shape.diameter_mm) if grinding else None
        thicker = thicker_plate_figures(parting=group.parting, grinding=cost, money=glass.rates.base_currency)
    return blank_of(
        position=way.position,
        option=option,
        others=tuple(others.values()),
        checked=way.checked,
        glass=glass.row,
        reasons=Reasons(
            stock,
            thicker,
            way.grade.figures(),
            tuple(
                left_out_figure(left_out=one, options=way.options, rates=glass.rates)
                for one in glass.candidates[name].left_out
                if one.beaten_by == form
            ),
        ),
    )


def _the_check_is_of_this_lens(elements: Sequence[Element], check: CheckReport) -> None:
    drawn = tuple(element.name for element in elements)
    checked = tuple(element.name for element in check.elements)
    if drawn != checked:
        raise CheckOfAnotherLens(checked, drawn)
