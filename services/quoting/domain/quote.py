"""The quote, assembled from the sections of a traveller."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from services.quoting.domain.basis import basis_of
from services.quoting.domain.cost import bought_part_cost
from services.quoting.domain.evaluation import Evaluation, Plans, evaluate
from services.quoting.domain.money import changed, in_currency
from services.quoting.domain.relaxations import quoted_relaxations
from services.quoting.errors import PlansDisagree
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.operations import BoughtPart, Operation, OperationPlan, Route, Tooling
from shared_schemas.quote import Break, ExplainedBreak, Explanation, MaterialNeed, QuoteBody, QuotedElement, UnitCost
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
    return QuoteBody(
        prescription=request.prescription,
        rate_revision=job.rate_revision,
        rate_digest=rate_digest,
        quoted_on=job.quoted_on,
        valid_until=job.quoted_on + timedelta(days=plans.terms.valid_days),
        currency=request.currency,
        confidence=request.confidence,
        check=check,
        breaks=tuple(_break(evaluation, plans) for evaluation in found),
        tooling=tuple(_tool_in_currency(tool, plans) for tool in operations.tooling),
        elements=_elements(blanks, plans),
        assembly=_assembly(plans),
        bought_parts=tuple(_part_in_currency(part, plans) for part in operations.bought_parts),
        relaxations=quoted_relaxations(plans, operations.relaxations, against=middle),
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


def _break(found: Evaluation, plans: Plans) -> Break:
    return Break(
        quantity=found.quantity,
        unit_price=found.price.unit,
        total_price=found.price.total,
        lines=found.price.lines,
        unit_cost=UnitCost(planned=changed(found.unit_cost, plans.currency)),
        lead_time=found.lead_time,
        start_quantities={part: start.started for part, start in found.starts.items()},
        materials=_bill_of_materials(found, plans),
    )


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
