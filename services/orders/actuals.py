"""What an ERP reports of the operations of an order: read from JSON or CSV, held against the order, and kept."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime
from difflib import get_close_matches
from typing import Any

from services.chassis.between_services import ring
from services.chassis.resources import Resources
from services.orders.domain.progress import progress_of
from services.orders.errors import MOST_NAMED, ActualsRefused, EstimateNotOrdered, OrderEnded, OrderUnknown
from services.orders.store.actuals import ActualStore, Reported
from services.orders.store.repository import StoredOrder
from shared_schemas.actuals import Actual, Actuals, ActualsTaken
from shared_schemas.csv_cells import unguarded
from shared_schemas.load import AcceptedOrder
from shared_schemas.pipeline import TAKE_IN_TASK
from shared_schemas.problem import ProblemDetail

FIGURES: dict[str, Callable[[str], Any]] = {"setup_min": float, "run_min": float, "started": int, "good": int}
"""Columns of CSV that hold a number; all others are text."""


def take_actuals(
    said: str, asked: Actuals, *, key_id: str, idempotency_key: str | None, resources: Resources, now: datetime
) -> ActualsTaken:
    """Keep what was reported by the number of an order, or of the estimate that was ordered.

    Raises `OrderUnknown`, `EstimateNotOrdered`, `OrderEnded` for an order that was cancelled, `ActualsRefused` that names every entry which cannot be.
    """
    number, revision = order_number(said)

    def check(stored: StoredOrder) -> None:
        if revision not in (None, stored.order.revision):
            raise EstimateNotOrdered(said)
        if stored.state == "cancelled":
            raise OrderEnded(number, stored.state, "reported of")
        faults = [*faults_of(asked.entries, stored.order, now=now)]
        if faults:
            raise ActualsRefused(faults)

    def forecast(reported: Reported) -> date:
        return progress_of(reported.stored.order, reported.actuals, today=now.date()).forecast_ship_date

    try:
        taken = ActualStore(resources.database).take(
            number, asked, check, forecast, key_id=key_id, idempotency_key=idempotency_key, now=now
        )
    except OrderUnknown as fault:
        if revision is None:
            raise
        raise EstimateNotOrdered(said) from fault
    if taken.moved:
        ring(TAKE_IN_TASK, number, resources)
    return ActualsTaken(
        order=number,
        taken=taken.new,
        unchanged=len(asked.entries) - taken.new,
        progress=progress_of(taken.reported.stored.order, taken.reported.actuals, today=now.date()),
    )


def order_number(said: str) -> tuple[str, int | None]:
    """The number of the order that a number of an estimate belongs to, and its revision; a number that is no estimate's is the order's own."""
    estimate = re.fullmatch(r"E(-[0-9]+-[0-9]+)(?:\.([0-9]{1,6}))?", said)
    return ("Q" + estimate[1], int(estimate[2] or 1)) if estimate else (said, None)


OF_MATERIAL = {"operation", "price_paid", "finished_at"}
"""What is reported of glass and bought parts: the price, and when they were there."""


def faults_of(entries: Sequence[Actual], order: AcceptedOrder, *, now: datetime) -> Iterator[ProblemDetail]:
    """Everything wrong with entries beside the operations and materials of their order."""
    places: dict[str, int] = {}
    operations, materials = {one.name for one in order.operations}, {one.id for one in order.materials}
    known = [*(one.name for one in order.operations), *(one.id for one in order.materials)]
    for place, one in enumerate(entries):
        at = f"/entries/{place}"
        if one.operation in places:
            reason = f"/entries/{places[one.operation]} is of the same operation"
            yield ProblemDetail(pointer=f"{at}/operation", reason=reason, figure=one.operation, remedy="send one entry for each")
        elif one.operation in materials - operations:
            yield from _faults_of_material(one, at)
        elif one.operation not in operations:
            near = get_close_matches(one.operation, known, 1, 0.0) if place < MOST_NAMED else []
            remedy = f"did you mean {near[0]}?" if near else "name an operation of the estimate"
            yield ProblemDetail(
                pointer=f"{at}/operation", reason="the order has no such operation", figure=one.operation, remedy=remedy
            )
        places.setdefault(one.operation, place)
        if one.finished_at is not None and one.finished_at > now:
            reason, figure = "that is still to come", one.finished_at.isoformat()
            yield ProblemDetail(
                pointer=f"{at}/finished_at", reason=reason, figure=figure, limit=now.isoformat(), remedy="report it when it is done"
            )


def _faults_of_material(entry: Actual, at: str) -> Iterator[ProblemDetail]:
    for name in sorted(set(entry.model_fields_set) - OF_MATERIAL):
        if (figure := getattr(entry, name)) not in (None, ""):
            reason, remedy = "glass and bought parts have a price alone", "leave it out"
            yield ProblemDetail(
                pointer=f"{at}/{name}", reason=reason, figure=figure, limit="price_paid, finished_at", remedy=remedy
            )


def records_of_csv(text: str) -> dict[str, Any]:
    """The document that a CSV stands for: a line for each entry, a column for each field, an empty cell for what is not said.

    A cell that should hold a number and does not is left as it is: the contract names it.
    """
    reader = csv.DictReader(io.StringIO(text, newline=""), restkey="(cells beyond the last column)", restval="")
    return {"entries": [{name.strip(): _value(name.strip(), cell) for name, cell in row.items() if cell} for row in reader]}


def _value(column: str, cell: Any) -> Any:
    if not isinstance(cell, str):
        return cell
    text = unguarded(cell.strip())
    try:
        return FIGURES.get(column, str)(text)
    except ValueError:
        return text
