"""Job estimates as callers see them: worked out again from what a quote was made of, in full, to plan from, or as a table."""

from __future__ import annotations

import csv
import hashlib
import io
import logging
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from pydantic import BaseModel, ValidationError

from services.chassis.load_source import pinned_snapshot
from services.chassis.rate_source import RevisionOutgrown
from services.chassis.resources import Resources
from services.chassis.version import VERSION
from services.quoting.errors import PlansDisagree, QuantityNotQuoted
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.plans import PartWays, Plans
from services.quoting.service.booking import plans_on
from services.quoting.service.documents import decision_document, not_ready
from services.quoting.service.production_order import contact_of, customers_word, figures_of, production_quantity, work_centres_of
from services.quoting.store.life import LifeStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.csv_cells import guarded
from shared_schemas.estimate import (
    SCHEMA_VERSION,
    Estimate,
    EstimatedMaterial,
    EstimatedOperation,
    EstimatedTool,
    EstimatedWorkCentre,
    EstimatePart,
    EstimatePlan,
    EstimateQuantity,
    OperationColumns,
    PlannedQuantity,
    RoutedPart,
)
from shared_schemas.operations import Route, Way
from shared_schemas.quote import Break, QuoteBody, QuoteDecision, middle_quantity
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import RateMissing

log = logging.getLogger(__name__)

NOT_WORKED_OUT = (
    "This quote is of an earlier release: its operations, materials and days cannot be worked out again. What it costs stands."
)
FAULTS = (RevisionOutgrown, RateMissing, PlansDisagree, ValidationError, LookupError, ArithmeticError)
"""With these a quote of an earlier release answers with its own figures alone."""


def estimate_etag(row: StoredQuote, *asked: object) -> str:
    """What an estimate is recognised by: the quote's digest, the decision on it, this release, and what of it is asked for."""
    decision = decision_document(row, row.decision).model_dump_json() if row.decision else ""
    said = "\n".join(str(one) for one in (row.number, row.digest, decision, row.customer, VERSION, SCHEMA_VERSION, *asked))
    return hashlib.sha256(said.encode()).hexdigest()


def estimate_document(row: StoredQuote, number: str, quantity: int | None, resources: Resources) -> Estimate:
    """The job estimate of a ready quote in full: at one quantity, or at all that were quoted. Raises `QuantityNotQuoted`."""
    body = _body(row)
    chosen = [_break(row, body, quantity)] if quantity is not None else list(body.breaks)
    return _estimate(row, number, body, chosen, resources)


def plan_document(row: StoredQuote, number: str, quantity: int | None, resources: Resources) -> EstimatePlan:
    """The job estimate to plan from: at the quantity that is asked for, or ordered, or of an open quote the middle one."""
    body = _body(row)
    asked = quantity or ordered_quantity(row) or middle_quantity(one.quantity for one in body.breaks)
    full = _estimate(row, number, body, [_break(row, body, asked)], resources)
    (figures,) = full.quantities
    fields = {name: getattr(full, name) for name in EstimatePlan.model_fields if name in Estimate.model_fields}
    used = {one.work_centre for one in figures.operations}
    return EstimatePlan(
        **fields
        | {
            "view": "plan",
            "work_centres": tuple(one for one in full.work_centres if one.id in used),
            "quantities": (_in_columns(figures),),
        },
        parts=tuple(_routed(route) for route in full.routes),
    )


def estimate_csv(row: StoredQuote, part: EstimatePart, quantity: int | None, resources: Resources) -> str:
    """One list of the estimate as CSV: at the quantity that is asked for, or ordered, or at all that were quoted."""
    full = estimate_document(row, "", quantity or ordered_quantity(row), resources)
    out = io.StringIO()
    writer = csv.DictWriter(out, _COLUMNS[part], restval="", lineterminator="\r\n")
    writer.writeheader()
    for figures in full.quantities:
        for line in _lines(figures, part):
            cells = {"quantity": figures.quantity, "currency": full.currency, **_cells(line)}
            writer.writerow({name: guarded(str(cells[name])) for name in _COLUMNS[part] if cells.get(name) is not None})
    return out.getvalue()


def ordered_quantity(row: StoredQuote) -> int | None:
    """How many are ordered, `None` of a quote that was not accepted."""
    return row.decision.quantity if row.decision is not None and row.decision.decision == "accepted" else None


_COLUMNS: Mapping[EstimatePart, Sequence[str]] = {
    "operations": ("quantity", *(field.alias or name for name, field in EstimatedOperation.model_fields.items()), "currency"),
    "materials": ("quantity", *EstimatedMaterial.model_fields, "stock", "diameter_mm", "thickness_mm", "currency"),
    "tooling": ("quantity", *EstimatedTool.model_fields, "currency"),
}


def _lines(figures: EstimateQuantity, part: EstimatePart) -> Sequence[BaseModel]:
    if part == "materials":
        return (*figures.blanks, *figures.materials, *figures.bought_parts)
    return figures.operations if part == "operations" else figures.tooling


def _cells(line: BaseModel) -> dict[str, Any]:
    cells = {"kind": "blank", **line.model_dump(mode="json")}
    cells |= {"parts": cells.pop("part")} if "part" in cells and "stock" in cells else {}
    return {name: " ".join(map(str, value)) if isinstance(value, list) else value for name, value in cells.items()}


def _body(row: StoredQuote) -> QuoteBody:
    if row.body is None:
        raise not_ready(row)
    return QuoteBody.model_validate_json(row.body)


def _break(row: StoredQuote, body: QuoteBody, quantity: int) -> Break:
    for price_break in body.breaks:
        if price_break.quantity == quantity:
            return price_break
    raise QuantityNotQuoted(row.quote_number, quantity, [one.quantity for one in body.breaks])


def _estimate(
    row: StoredQuote, number: str, body: QuoteBody, chosen: Sequence[Break], resources: Resources
) -> Estimate:  # fmt: skip
    assert row.finished_at is not None
    decision = decision_document(row, row.decision) if row.decision else None
    figures, centres = _worked_out(row, body, chosen, decision, resources)
    return Estimate(
        number=number,
        quote_number=row.quote_number,
        revision=row.revision,
        title=body.prescription.title,
        customer=row.customer,
        customer_number=customers_word(decision, "customer_number"),
        contact=contact_of(decision, body),
        reference=body.order.reference if body.order else "",
        purchase_terms=body.order.purchase_terms if body.order else "",
        purchase_order=customers_word(decision, "purchase_order"),
        needed_by=needed_by(row, resources),
        ordered_quantity=ordered_quantity(row),
        quoted_quantities=tuple(one.quantity for one in body.breaks),
        currency=body.currency,
        rate_revision=body.rate_revision,
        load_snapshot=row.load_snapshot,
        finished_at=row.finished_at,
        decision=decision,
        work_centres=centres,
        routes=_routes(body, chosen),
        quantities=figures,
    )


def needed_by(row: StoredQuote, resources: Resources) -> date | None:
    """The day by which the customer needs it: that of the order, or else of the request."""
    if row.decision is not None and row.decision.needed_by is not None:
        return row.decision.needed_by
    return QuoteRequest.model_validate_json(LifeStore(resources.database).request_of(row.number)).needed_by


def _worked_out(
    row: StoredQuote, body: QuoteBody, chosen: Sequence[Break], decision: QuoteDecision | None, resources: Resources
) -> tuple[tuple[EstimateQuantity, ...], tuple[EstimatedWorkCentre, ...]]:
    """The quantities, and the work centres they need; of a quote that cannot be worked out again what it says itself."""
    promised = decision.promised if decision is not None else None
    try:
        evaluations = [_evaluation(row, body, one, decision, resources) for one in chosen]
        figures = [production_quantity(one, body, evaluation) for one, evaluation in zip(chosen, evaluations, strict=True)]
        centres = work_centres_of(evaluations)
    except FAULTS as fault:
        log.warning("an estimate of an earlier release cannot be worked out", extra={"number": row.number, "why": str(fault)})
        figures, centres = [figures_of(one, body).model_copy(update={"remarks": (NOT_WORKED_OUT,)}) for one in chosen], ()
    if promised is not None and decision is not None:
        dated = {"promised_date": promised.ship_date}
        figures = [one.model_copy(update=dated) if one.quantity == decision.quantity else one for one in figures]
    return tuple(figures), centres


def _evaluation(
    row: StoredQuote, body: QuoteBody, price_break: Break, decision: QuoteDecision | None, resources: Resources
) -> Evaluation:
    """A quantity as it was quoted: of the one that is ordered on the day it was accepted, of the others on the day of the quote."""
    day, snapshot = body.quoted_on, row.load_snapshot
    if decision is not None and decision.promised is not None and decision.quantity == price_break.quantity:
        day, snapshot = decision.promised.at.date(), decision.promised.load_snapshot
    plans = plans_on(row, day, load=pinned_snapshot(resources.load, snapshot), resources=resources)
    return evaluate(plans, quantity=price_break.quantity, evened=False, ways=quoted_ways(price_break, plans))


def quoted_ways(price_break: Break, plans: Plans) -> PartWays:
    """The way of every element as the quote says it."""
    return {
        part: tuple(
            Way.model_validate({"choice": choice, "option": option}) for choice, option in price_break.ways.get(part, {}).items()
        )
        for part in plans.way_costs
    }


def _routes(body: QuoteBody, chosen: Sequence[Break]) -> tuple[Route, ...]:
    """The routes of a quote; of a single quantity that is made another way, its own."""
    elements = tuple(
        Route(part=element.name, kind="element", operations=element.operations)
        for element in body.elements
        if element.blank.element == element.name  # elements that are alike are one lot, under the name of the first
    )
    own = {route.part: route for route in chosen[0].routes} if len(chosen) == 1 else {}
    return tuple(own.get(route.part, route) for route in (*elements, *body.assembly))


def _routed(route: Route) -> RoutedPart:
    return RoutedPart(part=route.part, kind=route.kind, consumes={one.part: one.count for one in route.consumes})


def _in_columns(figures: EstimateQuantity) -> PlannedQuantity:
    columns = {name: tuple(getattr(one, name) for one in figures.operations) for name in OperationColumns.model_fields}
    fields = {name: getattr(figures, name) for name in PlannedQuantity.model_fields}
    return PlannedQuantity(**fields | {"operations": OperationColumns(**columns)})
