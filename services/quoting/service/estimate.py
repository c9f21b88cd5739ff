"""The job estimate that an ERP pulls: routing and bill of materials of a ready quote."""

from __future__ import annotations

from datetime import datetime

from shared_schemas.operations import Route
from shared_schemas.quote import Break, Estimate, EstimateQuantity, QuoteBody


def estimate(*, number: str, quote_number: str, revision: int, customer: str, finished_at: datetime, body: QuoteBody) -> Estimate:
    """Estimate of the quote `quote_number`; a bill of materials for every quantity that was asked for."""
    elements = tuple(Route(part=element.name, kind="element", operations=element.operations) for element in body.elements)
    return Estimate(
        number=number,
        quote_number=quote_number,
        revision=revision,
        title=body.prescription.title,
        customer=customer,
        currency=body.currency,
        rate_revision=body.rate_revision,
        finished_at=finished_at,
        routes=(*elements, *body.assembly),
        quantities=tuple(_quantity(one) for one in body.breaks),
    )


def _quantity(one: Break) -> EstimateQuantity:
    return EstimateQuantity(
        quantity=one.quantity,
        start_quantities=one.start_quantities,
        materials=one.materials,
        unit_cost=one.unit_cost.planned,
        total_price=one.total_price,
        ship_date=one.lead_time.ship_date,
    )
