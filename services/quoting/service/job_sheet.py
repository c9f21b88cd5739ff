"""The job sheet of a ready revision: a quantity worked out again from what the quote was made of, and set for the workshop."""

from __future__ import annotations

import json
from datetime import date

from services.chassis.load_source import pinned_snapshot
from services.chassis.resources import Resources
from services.quoting.errors import QuantityNotQuoted
from services.quoting.job_sheet import Given, JobSheet, job_sheet_of
from services.quoting.pricing.evaluation import evaluate
from services.quoting.service.booking import plans_on
from services.quoting.service.documents import not_ready, state_of_approval
from services.quoting.service.estimates import FAULTS, ordered_quantity
from services.quoting.service.offers import head_of
from services.quoting.service.production_order import production_quantity
from services.quoting.sheet import Paper
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from services.quoting.worksheet_errors import JobSheetOfBefore
from shared_schemas.operations import OwnedTool
from shared_schemas.quote import Break, QuoteBody, middle_quantity


def job_sheet_document(
    row: StoredQuote, *, quantity: int | None, paper: Paper, today: date, resources: Resources
) -> tuple[JobSheet, date]:
    """The sheet of a quantity and the day it bears: the quantity asked for, or ordered, or of an open quote the middle one.

    Raises `QuoteNotReady`, `QuoteArchived`, `QuantityNotQuoted`, and `JobSheetOfBefore` for a quote that comes out otherwise now.
    """
    if row.body is None:
        raise not_ready(row)
    body = QuoteBody.model_validate_json(row.body)
    price_break = _break(row, body, quantity)
    try:
        given = _given(row, body, price_break, today, resources)
    except FAULTS as fault:
        raise JobSheetOfBefore(row.quote_number, row.revision) from fault
    if given.evaluation.price.total != price_break.total_price:
        raise JobSheetOfBefore(row.quote_number, row.revision)
    return job_sheet_of(given, paper=paper), body.quoted_on


def _break(row: StoredQuote, body: QuoteBody, quantity: int | None) -> Break:
    quoted = [one.quantity for one in body.breaks]
    ordered = ordered_quantity(row)
    asked = quantity or (ordered if ordered in quoted else None) or middle_quantity(quoted)
    for one in body.breaks:
        if one.quantity == asked:
            return one
    raise QuantityNotQuoted(row.quote_number, asked, quoted)


def _given(row: StoredQuote, body: QuoteBody, price_break: Break, today: date, resources: Resources) -> Given:
    load = pinned_snapshot(resources.load, row.load_snapshot)
    plans = plans_on(row, body.quoted_on, load=load, resources=resources)
    evaluation = evaluate(plans, quantity=price_break.quantity)
    sections = QuoteStore(resources.database).sections(row.number)
    if sections is None:
        raise not_ready(row)
    # Of the plan only these two are needed, and reading all of it takes longer than the sheet.
    operations = json.loads(sections[2])
    return Given(
        head=head_of(row, today=today),
        body=body,
        price_break=price_break,
        planned=production_quantity(price_break, body, evaluation),
        evaluation=evaluation,
        tools_owned=tuple(OwnedTool.model_validate(one) for one in operations.get("tools_owned", ())),
        alike=operations.get("alike", {}),
        rates_of=resources.rates.revision(row.rate_revision).created_at.date(),
        waits_for_approval=state_of_approval(row) == "needed",
    )
