"""The quote, assembled from the sections of a traveller."""

from __future__ import annotations

from datetime import timedelta

from services.quoting.domain.basis import basis_of
from services.quoting.domain.cost import bought_part_cost
from services.quoting.domain.evaluation import Evaluation, Plans, evaluate
from services.quoting.domain.money import changed
from services.quoting.domain.relaxations import quoted_relaxations
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.operations import BoughtPart, OperationPlan, Tooling
from shared_schemas.quote import Break, MaterialNeed, QuoteBody, QuotedElement, UnitCost
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job


def assemble(
    *, job: Job, check: CheckReport, blanks: BlankPlan, operations: OperationPlan, rates: Rates, rate_digest: str
) -> QuoteBody:
    """Work out every quantity asked for, and what could be relaxed at the middle one.

    Raises:
        RateMissing: terms, currency or a work centre that the rates do not have.
        FigureOutOfRange, NoWorkingDays: rates with which there is no answer.
    """
    request = job.request
    plans = Plans(
        routes=operations.routes,
        materials=blanks.materials,
        bought_parts=operations.bought_parts,
        tooling=operations.tooling,
        terms=rates.terms(request.customer_class),
        currency=rates.currency(request.currency),
        confidence=request.confidence,
        begin=job.quoted_on,
        rates=rates,
    )
    found = [evaluate(plans, quantity=quantity) for quantity in request.quantities]
    middle = found[len(found) // 2]
    of_elements = {route.part: route.operations for route in operations.routes if route.kind == "element"}
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
        elements=tuple(
            QuotedElement(name=blank.element, glass=blank.glass, blank=blank, operations=of_elements[blank.element])
            for blank in blanks.blanks
        ),
        assembly=tuple(route for route in operations.routes if route.kind != "element"),
        bought_parts=tuple(_part_in_currency(part, plans) for part in operations.bought_parts),
        relaxations=quoted_relaxations(plans, operations.relaxations, against=middle),
        cautions=operations.cautions,
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
        basis=basis_of(found, plans),
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


def _tool_in_currency(tool: Tooling, plans: Plans) -> Tooling:
    return tool.model_copy(update={"charge": changed(tool.charge, plans.currency)})


def _part_in_currency(part: BoughtPart, plans: Plans) -> BoughtPart:
    amounts = {"lot_charge": changed(part.lot_charge, plans.currency), "unit_price": changed(part.unit_price, plans.currency)}
    return part.model_copy(update=amounts)
