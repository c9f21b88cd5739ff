"""Parts of an order that are wanted by themselves: when the first pieces of one lot are ready, and when lots of their own are, at what price."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from typing import Literal

import numpy as np
import numpy.typing as npt

from services.optics.law import law
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.promise.lead_time import Schedule
from services.quoting.promise.network import quantile
from services.quoting.risk.orders import DATED
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.lead_times import Delivery, PromisedDays, PromisedDelivery
from shared_schemas.quote import Break

Numbers = npt.NDArray[np.float64]


@law
def place_in_lot(*, pieces: int, started: int, ordered: int) -> int:
    """The place in a lot at which so many of the pieces ordered are good: what is lost is lost evenly along it.

    Equation: ceil(pieces * started / ordered)
    """
    return math.ceil(pieces * started / ordered)


@law
def split_effect(*, lot_total: Decimal, unit_price: Decimal, pieces: int) -> Decimal:
    """What pieces cost more as a lot of their own than as a part of the whole order.

    Equation: lot_total - unit_price * pieces
    """
    return lot_total - unit_price * pieces


def first_pieces(evaluation: Evaluation, pieces: int) -> Numbers:
    """When the first so many of an order are packed, in every draw [h]; all of them when the order is done, lots made again counted in.

    Notes:
        The lens is begun when all its parts are there; from then on pieces go through its last operations one batch behind the other, and
        so many are packed when the last of these has let them through. They do not wait for what is made again after them.
    """
    network = evaluation.schedule.network
    if pieces >= evaluation.quantity:
        return network.done
    started = evaluation.starts[network.lens.route.part].started
    return network.lens.passage.first(place_in_lot(pieces=pieces, started=started, ordered=evaluation.quantity))


def promised_deliveries(evaluation: Evaluation, deliveries: Sequence[Delivery]) -> tuple[PromisedDelivery, ...]:
    """The days of every delivery, in the order in which they are wanted.

    Notes:
        As lots of their own, each goes through the shop as an order of its quantity, put off by the hours that the lots before it
        take of each station of their busiest work centre; none is ready before the one before it.
    """
    schedule, promised = evaluation.schedule, []
    pieces, before_h, lot_before = 0, 0.0, np.zeros(DATED)
    singly: dict[int, Evaluation] = {evaluation.quantity: evaluation}
    for delivery in deliveries:
        quantity = delivery.quantity
        if quantity not in singly:
            singly[quantity] = evaluate(evaluation.plans.of_lenses, quantity=quantity)
        lot = singly[quantity]
        pieces += quantity
        lot_done = np.maximum(lot.schedule.network.done + before_h, lot_before)
        one_lot, own_lot = _days(schedule, first_pieces(evaluation, pieces)), _days(schedule, lot_done)
        promised.append(
            PromisedDelivery(
                quantity=quantity,
                by=delivery.by,
                of_one_lot=one_lot,
                as_own_lot=own_lot,
                price_effect=split_effect(lot_total=lot.price.of_lenses, unit_price=evaluation.price.unit, pieces=quantity),
                in_time=_in_time(delivery.by, one_lot.p90, own_lot.p90),
            )
        )
        before_h += _busiest_h(lot.schedule)
        lot_before = lot_done
    return tuple(promised)


def late_deliveries(breaks: Sequence[Break]) -> Iterator[Finding]:
    """A finding for each delivery of a request that nine of ten such orders do not have ready by its day."""
    for price_break in breaks:
        for place, promised in enumerate(price_break.deliveries):
            if promised.by is not None and promised.in_time != "of_one_lot":
                ready = promised.of_one_lot.p90
                by_itself = f"; as a lot of its own on {promised.as_own_lot.p90}" if promised.in_time else ""
                yield finding(
                    "delivery-not-in-time", f"/deliveries/{place}/by",
                    f"{promised.quantity:,} of {price_break.quantity:,} are wanted by {promised.by}; nine of ten such orders have them ready on {ready}"
                    f"{by_itself}.",
                    figure=ready.isoformat(), limit=promised.by.isoformat(), remedy="a later day, fewer pieces first, or a lot of its own",
                )  # fmt: skip


def _busiest_h(schedule: Schedule) -> float:
    busiest = schedule.bottleneck
    steps = [step for part in schedule.network.parts.values() for step in part.steps if step.work_centre.name == busiest]
    return sum(step.borne_h / step.work_centre.stations for step in steps)


def _days(schedule: Schedule, done: Numbers) -> PromisedDays:
    rising, calendar = np.sort(done), schedule.shop.calendar
    p50, p80, p90 = (calendar.day_after_hours(schedule.begin, quantile(rising, share)) for share in (0.5, 0.8, 0.9))
    return PromisedDays(p50=p50, p80=p80, p90=p90)


def _in_time(by: date | None, one_lot: date, own_lot: date) -> Literal["of_one_lot", "as_own_lot", "no"] | None:
    if by is None:
        return None
    return "of_one_lot" if one_lot <= by else "as_own_lot" if own_lot <= by else "no"
