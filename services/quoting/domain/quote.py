"""The quote, assembled from the sections of a traveller."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

from services.quoting.domain.basis import basis_of
from services.quoting.domain.cost import bought_part_cost
from services.quoting.domain.evaluation import Evaluation, Plans, evaluate, expedited, uncertain
from services.quoting.domain.money import changed, exact, in_currency
from services.quoting.domain.relaxations import combined_saving, quoted_relaxations, with_full_block
from services.quoting.domain.risk import Orders, Risk, drivers, orders_for, risk_of
from services.quoting.errors import PlansDisagree
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.operations import BoughtPart, Operation, OperationPlan, Route, Tooling
from shared_schemas.quote import Break, ExplainedBreak, Explanation, InTime, MaterialNeed, QuoteBody, QuotedElement, UnitCost
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job


def assemble(
    *, job: Job, check: CheckReport, blanks: BlankPlan, operations: OperationPlan, rates: Rates, rate_digest: str
) -> QuoteBody:
    """Work out every quantity asked for, and what could be relaxed at the middle one.

    Raises:
        RateMissing: terms, currency or a work centre that the rates do not have.
        FigureOutOfRange, NoWorkingDays: rates with which there is no answer.
        PlansDisagree: plans in another currency than the rates, or of other parts than each other.
    """
    _same_lens(blanks, operations, rates)
    plans = _plans(job, blanks, operations, rates)
    request = job.request
    found = [evaluate(plans, quantity=quantity) for quantity in request.quantities]
    middle = sorted(found, key=lambda one: one.quantity)[len(found) // 2]
    orders = orders_for(job, rate_digest)
    relaxed = quoted_relaxations(plans, operations.relaxations, against=middle)
    return QuoteBody(
        prescription=request.prescription,
        rate_revision=job.rate_revision,
        rate_digest=rate_digest,
        quoted_on=job.quoted_on,
        valid_until=job.quoted_on + timedelta(days=plans.terms.valid_days),
        currency=request.currency,
        confidence=request.confidence,
        check=check,
        breaks=tuple(_break(evaluation, plans, orders, job.request.needed_by) for evaluation in found),
        tooling=tuple(_tool_in_currency(tool, plans) for tool in operations.tooling),
        elements=_elements(blanks, plans),
        assembly=_assembly(plans),
        bought_parts=tuple(_part_in_currency(part, plans) for part in operations.bought_parts),
        relaxations=with_full_block(plans, relaxed, against=middle),
        best_relaxations=combined_saving(plans, operations.relaxations, relaxed, against=middle),
        findings=(*blanks.findings, *operations.findings),
        cautions=operations.cautions,
    )


def explain(*, job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates) -> Explanation:
    """Why each quantity costs and takes what it does: the same work again, as stages are deterministic, with its reasons."""
    plans = _plans(job, blanks, operations, rates)
    return Explanation(
        breaks=tuple(
            ExplainedBreak(quantity=quantity, figures=basis_of(evaluate(plans, quantity=quantity), plans))
            for quantity in job.request.quantities
        )
    )


def _plans(job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates) -> Plans:
    return Plans(
        routes=operations.routes,
        materials=blanks.materials,
        bought_parts=operations.bought_parts,
        tooling=operations.tooling,
        terms=rates.terms(job.request.customer_class),
        currency=rates.currency(job.request.currency),
        confidence=job.request.confidence,
        begin=job.quoted_on,
        rates=rates,
    )


def _same_lens(blanks: BlankPlan, operations: OperationPlan, rates: Rates) -> None:
    for currency in (blanks.currency, operations.currency):
        if currency != rates.base_currency:
            raise PlansDisagree("a plan has amounts in", figure=currency, limit=rates.base_currency)
    elements = [route.part for route in operations.routes if route.kind == "element"]
    bought = [member for model in blanks.materials for member in model.members]
    for what, parts in (("the blanks are for", [blank.element for blank in blanks.blanks]), ("the glass is for", bought)):
        if sorted(parts) != sorted(elements):
            raise PlansDisagree(what, figure=", ".join(parts), limit=", ".join(elements))
    made: set[str] = set()
    for route in operations.routes:
        missing = [consumed.part for consumed in route.consumes if consumed.part not in made]
        if missing:
            raise PlansDisagree(f"{route.part} consumes", figure=", ".join(missing), limit=", ".join(sorted(made)) or "no part")
        made.add(route.part)


def _elements(blanks: BlankPlan, plans: Plans) -> tuple[QuotedElement, ...]:
    routes = {route.part: route for route in plans.routes}
    return tuple(
        QuotedElement(
            name=blank.element,
            glass=blank.glass,
            blank=blank,
            operations=_operations_in_currency(routes[blank.element].operations, plans),
        )
        for blank in blanks.blanks
    )


def _assembly(plans: Plans) -> tuple[Route, ...]:
    return tuple(
        route.model_copy(update={"operations": _operations_in_currency(route.operations, plans)})
        for route in plans.routes
        if route.kind != "element"
    )


def _break(found: Evaluation, plans: Plans, orders: Orders, needed_by: date | None) -> Break:
    chances = uncertain(found, plans)
    risk = risk_of(chances, orders, price=_price_in_base(found, plans))
    return Break(
        quantity=found.quantity,
        unit_price=found.price.unit,
        total_price=found.price.total,
        lines=found.price.lines,
        unit_cost=_unit_cost(found, plans, risk),
        lead_time=found.lead_time,
        start_quantities={part: start.started for part, start in found.starts.items()},
        materials=_bill_of_materials(found, plans),
        spares={part: round(outcome.spares, 2) for part, outcome in chances.parts.items()},
        spares_value=_changed(sum(outcome.spares * plans.worths[part].value for part, outcome in chances.parts.items()), plans),
        enough_chance=round(math.prod(outcome.enough for outcome in chances.parts.values()), 4),
        loss_chance=risk.loss_chance,
        risk_drivers=drivers(chances),
        in_time=_in_time(found, plans, needed_by),
    )


def _unit_cost(found: Evaluation, plans: Plans, risk: Risk) -> UnitCost:
    return UnitCost(
        planned=changed(found.unit_cost, plans.currency),
        p50=_changed(risk.p50 / found.quantity, plans),
        p80=_changed(risk.p80 / found.quantity, plans),
        p95=_changed(risk.p95 / found.quantity, plans),
    )


def _changed(amount: float, plans: Plans) -> Decimal:
    return changed(exact(amount), plans.currency)


def _price_in_base(found: Evaluation, plans: Plans) -> float:
    """What is left of the price when overhead is paid as the share of cost that it is, in the base currency."""
    return float(found.price.total / plans.currency.per_base) / (1 + plans.terms.overhead_share)


def _in_time(found: Evaluation, plans: Plans, needed_by: date | None) -> InTime | None:
    """Whether the ship date, or else the one without any queue, is soon enough."""
    if needed_by is None:
        return None
    if found.lead_time.ship_date <= needed_by:
        return "yes"
    return "with_expedite" if expedited(found, plans) <= needed_by else "no"


def _bill_of_materials(found: Evaluation, plans: Plans) -> tuple[MaterialNeed, ...]:
    """Glass as it is bought, and bought parts, in the currency of the quote."""
    glass = [
        MaterialNeed(
            item=f"{one.model.glass} for {', '.join(one.model.members)}",
            kind="glass",
            quantity=round(one.bought_mass_g, 3),
            unit="g",
            cost=changed(one.amount, plans.currency),
        )
        for one in found.materials
    ]
    lenses = found.starts[plans.routes[-1].part].started
    parts = [
        MaterialNeed(
            item=part.name,
            kind="bought_part",
            quantity=lenses * part.count,
            unit="piece",
            cost=changed(bought_part_cost(part, lenses=lenses), plans.currency),
        )
        for part in plans.bought_parts
    ]
    return (*glass, *parts)


def _operations_in_currency(operations: Sequence[Operation], plans: Plans) -> tuple[Operation, ...]:
    return tuple(
        operation.model_copy(update={"consumables": in_currency(operation.consumables, plans.currency)}) for operation in operations
    )


def _tool_in_currency(tool: Tooling, plans: Plans) -> Tooling:
    return tool.model_copy(update={"charge": changed(tool.charge, plans.currency)})


def _part_in_currency(part: BoughtPart, plans: Plans) -> BoughtPart:
    amounts = {"lot_charge": changed(part.lot_charge, plans.currency), "unit_price": changed(part.unit_price, plans.currency)}
    return part.model_copy(update=amounts)
