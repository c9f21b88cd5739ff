"""What must be said of a quantity beside its price: it takes very long, or a few more would cost less."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.quoting.pricing.evaluation import Evaluation, Plans, evaluate
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding

NEAR = 1.1
"""A step of the margin is looked at up to a tenth above the quantity: who asks for so many may take the few more (common practice range)."""


def remarks_on(quantities: Sequence[Evaluation], plans: Plans) -> tuple[Finding, ...]:
    """Findings on the quantities of a quote, as they are asked for."""
    return tuple(remark for one in quantities for remark in (*_too_long(one, plans), *_cheaper_at(one, quantities, plans)))


def _too_long(one: Evaluation, plans: Plans) -> Iterator[Finding]:
    """A quantity that the shop cannot promise: it would be busy with it for longer than its terms allow."""
    lead, limit = one.lead_time, plans.terms.longest_lead_days
    if lead.p90_days <= limit:
        return
    centre = one.schedule.bottleneck
    yield finding(
        "lead-time-too-long",
        "",
        (
            f"{one.quantity} pieces take {lead.p90_days} days (the terms allow {limit}): the price and date of this quantity are "
            "arithmetic, not an offer."
        ),
        figure=lead.p90_days,
        limit=limit,
        unit="days",
        row=plans.terms.name,
        remedy=f"ask for fewer, agree on part deliveries, or have more stations at the {centre}",
    )


def _cheaper_at(one: Evaluation, quantities: Sequence[Evaluation], plans: Plans) -> Iterator[Finding]:
    """A larger quantity that costs less in total: one that is asked for too, or the next step of the margin."""
    larger = [other for other in quantities if other.quantity > one.quantity]
    known = {other.quantity for other in larger}
    steps = [step.from_quantity for step in plans.terms.margin_steps]
    near = [step for step in steps if one.quantity < step <= NEAR * one.quantity and step not in known]
    offers = [*larger, *(evaluate(plans, quantity=step, like=one) for step in near)]
    best = min(offers, key=lambda other: (other.price.total, -other.quantity), default=one)
    if best.price.total >= one.price.total:
        return
    saved = one.price.total - best.price.total
    yield finding(
        "more-cost-less",
        "",
        f"{best.quantity} pieces cost {saved} {plans.currency.name} less in total than {one.quantity}: {best.price.total}.",
        figure=float(one.price.total),
        limit=float(best.price.total),
        unit=plans.currency.name,
        row=plans.terms.name,
        remedy=f"ask for {best.quantity}",
    )
