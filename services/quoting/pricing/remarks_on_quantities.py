"""What a quote says of its quantities as they are asked for: a book that is thin, a date too far away, starts that are not so sure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.plans import Plans
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding

CHANCE_SHOWN = 0.001
"""Chances are told to the thousandth."""


THIN_BOOK = 0.5
"""A book that holds less than this share of what it should is spoken of (common practice range)."""

BATCH_LOST = "a lot that is in one batch may be lost whole. It"


def remarks_on(quantities: Sequence[Evaluation], plans: Plans) -> tuple[Finding, ...]:
    """Findings on the quantities of a quote, as they are asked for."""
    each = (remark for one in quantities for remark in (*_too_long(one, plans), *_not_so_sure(one, plans)))
    return (*_thin_book(quantities[0], plans), *each)


def _thin_book(evaluation: Evaluation, plans: Plans) -> Iterator[Finding]:
    """A book that holds little of the work which the rates say is in it, as that of a shop which has just begun to keep one."""
    if plans.load is None:
        return
    held_h, expected_h = evaluation.schedule.in_book
    if held_h >= THIN_BOOK * expected_h:
        return
    yield finding(
        "book-of-load-thin",
        "",
        (
            f"The book of load holds {held_h:.0f} of the {expected_h:.0f} hours that should be in it at the work centres of this lens: the dates "
            "count on hours that may be taken already."
        ),
        figure=round(held_h),
        limit=round(expected_h),
        unit="h",
        row="shop_load",
        remedy="book the work that is under way (PUT /v1/load), or set booked_share of shop_load to 0 until it is booked",
    )


def _too_long(evaluation: Evaluation, plans: Plans) -> Iterator[Finding]:
    """A quantity that the shop cannot promise: it would be busy with it for longer than its terms allow."""
    lead, limit = evaluation.lead_time, plans.terms.longest_lead_days
    if lead.p90_days <= limit:
        return
    centre = evaluation.schedule.bottleneck
    yield finding(
        "lead-time-too-long",
        "",
        (
            f"{evaluation.quantity} pieces take {lead.p90_days} days (the terms allow {limit}): the price and date of this quantity are "
            "arithmetic, not an offer."
        ),
        figure=lead.p90_days,
        limit=limit,
        unit="days",
        row=plans.terms.name,
        remedy=f"ask for fewer, agree on part deliveries, or have more stations at the {centre}",
    )


def _not_so_sure(evaluation: Evaluation, plans: Plans) -> Iterator[Finding]:
    """A quantity whose starts are not as sure as asked for: a lot that is one batch is lost whole, and made again then."""
    chance = evaluation.plan.chance
    if chance >= plans.confidence - CHANCE_SHOWN / 2:
        return
    set_by_hand = [part for part, start in evaluation.starts.items() if start.planned is not None]
    yield finding(
        "confidence-out-of-reach",
        "",
        (
            f"{evaluation.quantity} pieces are enough at the first go with a chance of {chance:.3f}, not {plans.confidence:g}: "
            + (f"so many of {', '.join(set_by_hand)} are started as were set. What is missing" if set_by_hand else BATCH_LOST)
            + " is made again then, which is in the price."
        ),
        figure=round(chance, 4),
        limit=plans.confidence,
        remedy="start more, or set no number" if set_by_hand else "ask for a lower confidence, or more pieces than are needed",
    )
