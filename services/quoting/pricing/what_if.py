"""The figures of a copy of a quote, and of the quote as it was issued, so that they can be held beside each other.

They are those that `assembled` comes to, by the same functions; a test holds a copy in which nothing is changed against its quote.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from services.quoting.costs.money import in_currency
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.overridden.reached import margin_reached_at
from services.quoting.pricing.overridden.remarks import of_overrides
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.quote import in_base, plans_for, refuse_other_lens
from services.quoting.pricing.remarks_on_quantities import remarks_on
from services.quoting.pricing.second_key import margin_left, needs_of_second_key
from services.quoting.pricing.supplied import findings_on_supplies
from services.quoting.risk.draws import risk_of
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport, Finding
from shared_schemas.load import LoadSnapshot
from shared_schemas.operations import OperationPlan
from shared_schemas.place import place_of
from shared_schemas.prescription import Prescription
from shared_schemas.quote import QuoteBody, middle_quantity
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job
from shared_schemas.what_if import FiguresAtQuantity, FiguresOfCopy, MovedAtQuantity, MovedLine, ToldFinding

MOST_LINES_TOLD = 5
NOT_OF_A_COPY = frozenset({"rests-on-invented-rates", "rests-on-stale-rates", "rates-of-a-release", "delivery-not-in-time"})
"""Findings on the rates that a price rests on are of the shop and not of a copy, whose figures are worked out without their basis; nor are
deliveries of a copy dated one by one."""


def figures_of_copy(
    *, job: Job, check: CheckReport, blanks: BlankPlan, operations: OperationPlan, rates: Rates, load: LoadSnapshot | None = None,
) -> FiguresOfCopy:  # fmt: skip
    """Every quantity of a job; raises what `assembled` raises."""
    rates = rates.in_order
    refuse_other_lens(blanks, operations, rates)
    plans = plans_for(job, blanks, operations, rates, load)
    request = job.request
    evaluations = [evaluate(plans, quantity=quantity) for quantity in request.quantities]
    middle = evaluations[request.quantities.index(middle_quantity(request.quantities))]
    quantities = tuple(_at_quantity(one, plans) for one in evaluations)
    findings = (
        *check.findings,
        *remarks_on(evaluations, plans),
        *findings_on_supplies(evaluations, request.supplied, operations.alike),
        *needs_of_second_key(quantities, request, plans.terms),
        *of_overrides(request.overrides, plans, evaluations, middle).findings,
        *of_overrides(request.overrides, plans, evaluations, middle).findings,
        *blanks.findings,
        *operations.findings,
    )
    return FiguresOfCopy(
        currency=request.currency,
        quantities=quantities,
        tooling=sum((in_currency(tool.charge, plans.currency) for tool in middle.made.tooling), Decimal(0)),
        findings=told_findings(findings, request.prescription),
    )


def _at_quantity(evaluation: Evaluation, plans: Plans) -> FiguresAtQuantity:
    price, days = evaluation.price, evaluation.lead_time
    held = in_base(price.total, evaluation.made, plans)
    return FiguresAtQuantity(
        quantity=evaluation.quantity,
        unit_price=price.unit,
        total_price=price.total,
        unit_cost=in_currency(evaluation.unit_cost, plans.currency),
        lines=price.lines,
        p50_days=days.p50_days,
        p90_days=days.p90_days,
        ship_date=days.ship_date,
        start_quantities={part: start.started for part, start in evaluation.starts.items()},
        margin_share=margin_reached_at(evaluation, plans),
        loss_chance=risk_of(evaluation.chances, plans.orders, price=held).loss_chance,
    )


def figures_as_issued(body: QuoteBody) -> FiguresOfCopy:
    """The same figures of a quote as it was issued."""
    return FiguresOfCopy(
        currency=body.currency,
        quantities=tuple(
            FiguresAtQuantity(
                quantity=one.quantity,
                unit_price=one.unit_price,
                total_price=one.total_price,
                unit_cost=one.unit_cost.planned,
                lines=one.lines,
                p50_days=one.lead_time.p50_days,
                p90_days=one.lead_time.p90_days,
                ship_date=one.lead_time.ship_date,
                start_quantities=one.start_quantities,
                margin_share=margin_left(one),
                loss_chance=one.loss_chance,
            )
            for one in body.breaks
        ),
        tooling=sum((tool.charge for tool in body.tooling), Decimal(0)),
        findings=told_findings((*body.check.findings, *body.findings), body.prescription),
    )


def told_findings(findings: Iterable[Finding], prescription: Prescription) -> tuple[ToldFinding, ...]:
    """Findings on lens and order, with their places by the names of the elements, which a copy may have in another order."""
    return tuple(
        ToldFinding(code=one.code, severity=one.severity, where=str(place_of(one.pointer, prescription)), message=one.message)
        for one in findings
        if one.code not in NOT_OF_A_COPY
    )


def moved(issued: FiguresOfCopy, copy: FiguresOfCopy) -> tuple[MovedAtQuantity, ...]:
    """What a copy does at each quantity that both have; nothing is said across currencies."""
    if issued.currency != copy.currency:
        return ()
    before = {one.quantity: one for one in issued.quantities}
    return tuple(_moved(before[one.quantity], one) for one in copy.quantities if one.quantity in before)


def _moved(issued: FiguresAtQuantity, copy: FiguresAtQuantity) -> MovedAtQuantity:
    difference = copy.unit_price - issued.unit_price
    return MovedAtQuantity(
        quantity=copy.quantity,
        unit_price=difference,
        unit_price_share=round(float(difference / issued.unit_price), 6) if issued.unit_price else 0.0,
        unit_cost=copy.unit_cost - issued.unit_cost,
        p90_days=copy.p90_days - issued.p90_days,
        ship_date_days=(copy.ship_date - issued.ship_date).days,
        margin_share=round(copy.margin_share - issued.margin_share, 6),
        lines=_moved_lines(issued, copy),
    )


def _moved_lines(issued: FiguresAtQuantity, copy: FiguresAtQuantity) -> tuple[MovedLine, ...]:
    """The lines of the price that moved most, either way."""
    differences: dict[str, Decimal] = {}
    for sign, lines in ((-1, issued.lines), (1, copy.lines)):
        for line in lines:
            differences[line.name] = differences.get(line.name, Decimal(0)) + sign * line.amount
    told = [MovedLine(name=name, difference=amount) for name, amount in differences.items() if amount]
    return tuple(sorted(told, key=lambda one: -abs(one.difference))[:MOST_LINES_TOLD])


def findings_without(these: Sequence[ToldFinding], others: Sequence[ToldFinding]) -> tuple[ToldFinding, ...]:
    """Those of the findings of which there is none of that kind at that place among the others."""
    known = {(one.code, one.where) for one in others}
    return tuple(one for one in these if (one.code, one.where) not in known)
