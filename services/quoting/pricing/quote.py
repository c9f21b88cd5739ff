"""The quote, assembled from the sections of a traveller."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from types import MappingProxyType

from services.quoting.costs.cost import bought_part_cost, parts_bought
from services.quoting.costs.money import exact, in_currency, total
from services.quoting.errors import PlansDisagree
from services.quoting.pricing.deliveries import late_deliveries, promised_deliveries
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.in_time import Answer, Deadline
from services.quoting.pricing.moved_figures import blank_places, moved_blank, moved_route
from services.quoting.pricing.nearer.single_offers import single_offers
from services.quoting.pricing.overridden.amended import amended
from services.quoting.pricing.overridden.reached import margin_reached_at
from services.quoting.pricing.overridden.remarks import of_overrides
from services.quoting.pricing.plans import Made, Plans, spread_tooling
from services.quoting.pricing.plate_offers import as_relaxations, quoted_offers
from services.quoting.pricing.prototypes import after_prototypes, prototypes_first
from services.quoting.pricing.quoted_money import in_quote_currency
from services.quoting.pricing.relaxations import combined_saving, most_saved_first, quoted_relaxations, with_full_block
from services.quoting.pricing.release_rows import figures_of_a_release
from services.quoting.pricing.remarks_on_quantities import remarks_on
from services.quoting.pricing.resting import Resting, findings_on, resting_on
from services.quoting.pricing.second_key import needs_of_second_key
from services.quoting.pricing.sooner import expedited
from services.quoting.pricing.spare_parts import spare_lots
from services.quoting.pricing.split import deliveries_of
from services.quoting.pricing.supplied import arrivals_of, findings_on_supplies
from services.quoting.pricing.ways import as_choices
from services.quoting.risk.draws import Risk, Uncertain, drivers, risk_of, spares_worth
from services.quoting.risk.orders import Orders
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.load import LoadSnapshot
from shared_schemas.operations import OperationPlan, Route
from shared_schemas.order_terms import terms_of
from shared_schemas.prescription import Prescription
from shared_schemas.quote import (
    Break,
    MaterialNeed,
    QuoteBody,
    QuotedElement,
    QuotedRelaxation,
    UnitCost,
    middle_quantity,
)
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job


def assemble(
    *, job: Job, check: CheckReport, blanks: BlankPlan, operations: OperationPlan, rates: Rates, rate_digest: str,
    load: LoadSnapshot | None = None,
) -> QuoteBody:  # fmt: skip
    """The quote alone of what `assembled` gives."""
    return assembled(
        job=job, check=check, blanks=blanks, operations=operations, rates=rates, rate_digest=rate_digest, load=load
    ).body


@dataclass(frozen=True)
class Assembled:
    """A quote, and the rate rows that its price rests on."""

    body: QuoteBody
    resting: Resting


def assembled(
    *, job: Job, check: CheckReport, blanks: BlankPlan, operations: OperationPlan, rates: Rates, rate_digest: str,
    load: LoadSnapshot | None = None, review_days: Mapping[str, int] = MappingProxyType({}),
) -> Assembled:  # fmt: skip
    """Work out every quantity asked for, and what could be relaxed at the middle one.

    Args:
        review_days: by table, after how many days a row is stale, where that is not the usual.

    Raises:
        RateMissing: terms, currency or a work centre that the rates do not have.
        FigureOutOfRange, NoWorkingDays: rates with which there is no answer.
        PlansDisagree: plans in another currency than the rates, or of other parts than each other.
    """
    rates = rates.in_order
    refuse_other_lens(blanks, operations, rates)
    plans = plans_for(job, blanks, operations, rates, load)
    as_set = amended(job, blanks, operations, rates)
    operations = as_set.operations
    request = job.request
    evaluations = [evaluate(plans, quantity=quantity) for quantity in request.quantities]
    middle = evaluations[request.quantities.index(middle_quantity(request.quantities))]
    orders = plans.orders
    offers = quoted_offers(plans, operations.offers, against=middle)
    relaxed = most_saved_first((*quoted_relaxations(plans, operations.relaxations, against=middle), *as_relaxations(offers)))
    deadline = _deadline(plans, operations, relaxed, job)
    resting = resting_on(middle, plans)
    said = of_overrides(request.overrides, plans, evaluations, middle)
    breaks = tuple(_break(evaluation, middle, plans, orders, deadline, job) for evaluation in evaluations)
    body = QuoteBody(
        prescription=request.prescription,
        order=terms_of(request),
        rate_revision=job.rate_revision,
        rate_digest=rate_digest,
        load_snapshot=job.load_snapshot,
        quoted_on=job.quoted_on,
        valid_until=job.quoted_on + timedelta(days=plans.terms.valid_days),
        currency=request.currency,
        confidence=request.confidence,
        check=check,
        breaks=breaks,
        tooling=tuple(in_quote_currency(tool, plans) for tool in middle.made.tooling),
        tooling_terms=plans.terms.tooling,
        elements=_elements(request.prescription, operations.alike, middle.made, plans),
        assembly=_assembly(middle.made, plans),
        bought_parts=tuple(in_quote_currency(part, plans) for part in operations.bought_parts),
        offers=offers,
        relaxations=with_full_block(plans, relaxed, against=middle),
        best_relaxations=combined_saving(plans, operations.relaxations, relaxed, against=middle, offers=operations.offers),
        findings=(
            *remarks_on(evaluations, plans),
            *findings_on_supplies(evaluations, request.supplied, operations.alike),
            *late_deliveries(breaks),
            *prototypes_first(plans),
            *needs_of_second_key(breaks, request, plans.terms),
            *said.findings,
            *figures_of_a_release(middle.made, plans),
            *findings_on(resting, rates, on=job.quoted_on, review_days=review_days),
            *blanks.findings,
            *operations.findings,
        ),
        cautions=operations.cautions,
        overrides=said.applied,
        currency_clause=as_set.currency_clause,
    )
    return Assembled(body, resting)


def plans_for(
    job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates, load: LoadSnapshot | None = None
) -> Plans:  # fmt: skip
    """What every quantity of a job is worked out from; `load` is the book that `job` is pinned to."""
    as_set = amended(job, blanks, operations, rates)
    plans = Plans(
        routes=operations.routes,
        materials=blanks.materials,
        blanks=blanks.blanks,
        bought_parts=operations.bought_parts,
        tooling=operations.tooling,
        terms=rates.terms(job.request.customer_class),
        currency=as_set.currency,
        confidence=job.request.confidence,
        begin=job.quoted_on,
        rates=rates,
        load=load,
        classes=operations.classes,
        spare_parts=spare_lots(job.request, operations.alike),
        arrivals=arrivals_of(job.request.supplied, operations),
        deliveries=job.request.deliveries,
        prototypes=job.request.prototypes,
    )
    return replace(plans, worked_out=plans, **as_set.of_plans) if as_set.settings else plans


def refuse_other_lens(blanks: BlankPlan, operations: OperationPlan, rates: Rates) -> None:
    """Raises `PlansDisagree` for plans in another currency than the rates, or of other parts than each other."""
    for currency in (blanks.currency, operations.currency):
        if currency != rates.base_currency:
            raise PlansDisagree("a plan has amounts in", figure=currency, limit=rates.base_currency)
    elements = {route.part for route in operations.routes if route.kind == "element"}
    bought = {member for model in blanks.materials for member in model.members}
    for what, parts in (("the blanks are for", {blank.element for blank in blanks.blanks}), ("the glass is for", bought)):
        if parts != elements:
            raise PlansDisagree(what, figure=", ".join(sorted(parts)), limit=", ".join(sorted(elements)))
    if blanks.alike != operations.alike:
        alike = [", ".join(f"{one} as {first}" for one, first in plan.alike.items()) or "none" for plan in (blanks, operations)]
        raise PlansDisagree("elements that are alike are", figure=alike[0], limit=alike[1])
    made: set[str] = set()
    for route in operations.routes:
        missing = [consumed.part for consumed in route.consumes if consumed.part not in made]
        if missing:
            raise PlansDisagree(f"{route.part} consumes", figure=", ".join(missing), limit=", ".join(sorted(made)) or "no part")
        made.add(route.part)


def _elements(prescription: Prescription, alike: Mapping[str, str], made: Made, plans: Plans) -> tuple[QuotedElement, ...]:
    """Every element as it is made at the middle quantity; one that is like another, as that."""
    routes = {route.part: route for route in made.routes}
    return tuple(
        QuotedElement(
            name=name,
            glass=made.blanks[first].glass,
            blank=made.blanks[first],
            operations=_quoted(routes[first], plans).operations,
        )
        for name, first in as_drawn(prescription, [*made.ways], alike).items()
    )


def as_drawn(prescription: Prescription, parts: Sequence[str], alike: Mapping[str, str]) -> dict[str, str]:
    """The elements in the order of the drawing, each with the first of its kind, which it is made as."""
    places = {element.name: place for place, element in enumerate(prescription.elements)}
    firsts = {part: part for part in parts} | dict(alike)
    return dict(sorted(firsts.items(), key=lambda one: places.get(one[0], len(places))))


def _quoted(route: Route, plans: Plans) -> Route:
    """A route with its amounts in the currency of the quote."""
    return route.model_copy(update={"operations": tuple(in_quote_currency(one, plans) for one in route.operations)})


def _assembly(made: Made, plans: Plans) -> tuple[Route, ...]:
    return tuple(_quoted(route, plans) for route in made.routes if route.kind != "element")


def _break(evaluation: Evaluation, middle: Evaluation, plans: Plans, orders: Orders, deadline: Deadline | None, job: Job) -> Break:
    chances = evaluation.chances
    risk = risk_of(chances, orders, price=in_base(evaluation.price.total, evaluation.made, plans))
    made = evaluation.made
    other_ways = [part for part, ways in made.ways.items() if ways != middle.made.ways[part]]
    elements = {element.name: place for place, element in enumerate(job.request.prescription.elements)}
    blanks = [part for part in other_ways if made.blanks[part] is not middle.made.blanks[part]]
    places = blank_places({part: elements[part] for part in blanks}, job.request.quantities.index(evaluation.quantity))
    sooner = expedited(evaluation, plans)
    nearer = single_offers(evaluation, plans)
    answer = deadline.answer(evaluation, sooner, nearer) if deadline else Answer()
    return Break(
        quantity=evaluation.quantity,
        unit_price=evaluation.price.unit,
        total_price=evaluation.price.total,
        lines=evaluation.price.lines,
        unit_cost=_unit_cost(evaluation, plans, risk, job.request.needed_by),
        lead_time=evaluation.lead_time,
        start_quantities={part: start.started for part, start in evaluation.starts.items()},
        materials=_bill_of_materials(evaluation, plans),
        ways={part: as_choices(ways) for part, ways in made.ways.items() if ways},
        routes=tuple(
            moved_route(_quoted(route, plans), places.get(route.part)) for route in made.routes if route.part in other_ways
        ),
        blanks=tuple(moved_blank(made.blanks[part], places[part]) for part in blanks),
        tooling=None if made.tooling == middle.made.tooling else tuple(in_quote_currency(tool, plans) for tool in made.tooling),
        spare_parts=evaluation.spares.as_ordered() if evaluation.spares else (),
        deliveries=promised_deliveries(evaluation, deliveries_of(plans.deliveries, evaluation.quantity)),
        prototypes=evaluation.quantity == plans.prototypes,
        after_prototypes=after_prototypes(evaluation),
        spares=spares_of(chances),
        spares_value=in_currency(total(amounts=list(worth_of_spares(chances, made).values())), plans.currency),
        enough_chance=round(evaluation.plan.chance, 4),
        loss_chance=risk.loss_chance,
        risk_drivers=drivers(chances),
        in_time=answer.in_time,
        in_time_with=answer.with_,
        in_time_chance=in_time_chance(evaluation, job.request.needed_by),
        expedite=sooner.as_offer() if sooner else None,
        sooner=tuple(one.as_offer() for one in nearer),
        soonest_set=answer.cheapest.as_set() if answer.cheapest else None,
        margin_share=margin_reached_at(evaluation, plans) if job.request.overrides else None,
    )


def spares_of(chances: Uncertain) -> dict[str, float]:
    """Good pieces of each part to be expected beyond those needed, to the hundredth."""
    return {part: round(outcome.spares, 2) for part, outcome in chances.parts.items()}


def worth_of_spares(chances: Uncertain, made: Made) -> dict[str, Decimal]:
    """What the spares of each part have cost, in the base currency."""
    return {part: spares_worth(spares=spares, worth_each=made.worths[part].value) for part, spares in spares_of(chances).items()}


def in_time_chance(evaluation: Evaluation, needed_by: date | None) -> float | None:
    """Share of the draws that are done by a day, to the thousandth."""
    return None if needed_by is None else round(float(evaluation.schedule.by(needed_by).mean()), 3)


def _unit_cost(evaluation: Evaluation, plans: Plans, risk: Risk, needed_by: date | None) -> UnitCost:
    in_time = None if needed_by is None else risk.p80_of(evaluation.schedule.by(needed_by))
    return UnitCost(
        planned=in_currency(evaluation.unit_cost, plans.currency),
        p50=_changed(risk.p50 / evaluation.quantity, plans),
        p80=_changed(risk.p80 / evaluation.quantity, plans),
        p95=_changed(risk.p95 / evaluation.quantity, plans),
        p80_in_time=None if in_time is None else _changed(in_time / evaluation.quantity, plans),
    )


def _changed(amount: float, plans: Plans) -> Decimal:
    return in_currency(exact(amount), plans.currency)


def in_base(price: Decimal, made: Made, plans: Plans) -> float:
    """What a price leaves for cost when spread tools and the overhead, a share of cost, are paid from it; in the base currency."""
    return float(price / plans.currency.per_base - spread_tooling(made.tooling, plans.terms)) / (1 + plans.terms.overhead_share)


def _deadline(plans: Plans, operations: OperationPlan, relaxed: Sequence[QuotedRelaxation], job: Job) -> Deadline | None:
    if job.request.needed_by is None:
        return None
    return Deadline(
        needed_by=job.request.needed_by,
        plans=plans,
        relaxations=operations.relaxations,
        offers=operations.offers,
        quoted=relaxed,
        most=max(job.request.quantities),
    )


def _bill_of_materials(evaluation: Evaluation, plans: Plans) -> tuple[MaterialNeed, ...]:
    """Glass as it is bought, and bought parts, in the currency of the quote."""
    glass = [
        MaterialNeed(
            item=f"{one.model.glass} for {', '.join(one.model.members)}",
            kind="glass",
            quantity=one.bought_mass_g,
            unit="g",
            cost=in_currency(one.amount, plans.currency),
        )
        for one in evaluation.materials
    ]
    lenses = evaluation.starts[evaluation.made.lens.part].started
    parts = [
        MaterialNeed(
            item=part.name,
            kind="bought_part",
            quantity=parts_bought(lenses=lenses, count=part.count),
            unit="piece",
            cost=in_currency(bought_part_cost(part, lenses=lenses), plans.currency),
        )
        for part in plans.bought_parts
    ]
    return (*glass, *parts)
