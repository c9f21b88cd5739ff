"""Parts of an order that are wanted by themselves: when the first pieces of one lot are ready, and when lots of their own are, at what price."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

import numpy as np
import numpy.typing as npt

from services.optics.law import law
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.plans import Plans
from services.quoting.promise.flow import Step
from services.quoting.promise.lead_time import Schedule
from services.quoting.promise.network import quantile
from shared_schemas.lead_times import Delivery, PromisedDays, PromisedDelivery

Numbers = npt.NDArray[np.float64]


@law
def first_of_lot_h(*, done_h: float, left: int, pace_h: float) -> float:
    """When the first pieces of a lot are packed [h]: as many paces before the last as pieces are left.

    Equation: done_h - left * pace_h
    """
    return done_h - left * pace_h


@law
def split_effect(*, lot_total: Decimal, unit_price: Decimal, pieces: int) -> Decimal:
    """What pieces cost more as a lot of their own than as a part of the whole order.

    Equation: lot_total - unit_price * pieces
    """
    return lot_total - unit_price * pieces


def pace_of(steps: Sequence[Step]) -> Step:
    """The step of a route that says how fast pieces leave it one by one: the slowest after the last that takes all in one batch."""
    alone = [place for place, step in enumerate(steps) if step.batches <= 1]
    flowing = steps[alone[-1] + 1 if alone else 0 :] or steps[-1:]
    return max(flowing, key=_pace_h)


def _pace_h(step: Step) -> float:
    return step.batch_h / step.batch_size


def first_pieces(schedule: Schedule, pieces: int, quantity: int) -> Numbers:
    """When so many of an order are packed, in every draw [h]; all of them when the order is done, lots made again counted in.

    Notes: never before the lens is begun. The first pieces do not wait for what is made again of the last.
    """
    if pieces >= quantity:
        return schedule.network.done
    lens = schedule.network.lens
    step = pace_of(lens.steps)
    factor = schedule.shop.factors[step.work_centre.name]
    first = first_of_lot_h(done_h=0.0, left=quantity - pieces, pace_h=_pace_h(step))
    return np.asarray(np.maximum(lens.passage.done + first * factor, lens.passage.arrival))


@dataclass(frozen=True)
class OwnLot:
    """A delivery made as a lot of its own: when it is ready in every draw [h], and what it costs."""

    done: Numbers
    total: Decimal


def promised_deliveries(evaluation: Evaluation, plans: Plans, deliveries: Sequence[Delivery]) -> tuple[PromisedDelivery, ...]:
    """The days of every delivery, in the order in which they are wanted.

    Notes:
        As lots of their own, each goes through the shop as an order of its quantity, put off by the hours that the lots before it
        take of each station of their busiest work centre; none is ready before the one before it.
    """
    schedule, found = evaluation.schedule, []
    done, before_h, earlier = 0, 0.0, np.zeros(len(schedule.network.done))
    for delivery in deliveries:
        done += delivery.quantity
        own = evaluate(plans, quantity=delivery.quantity)
        earlier = np.maximum(own.schedule.network.done + before_h, earlier)
        before_h += _busiest_h(own.schedule)
        effect = split_effect(lot_total=own.price.total, unit_price=evaluation.price.unit, pieces=delivery.quantity)
        one_lot = _days(schedule, first_pieces(schedule, done, evaluation.quantity))
        own_lot = _days(schedule, earlier)
        found.append(
            PromisedDelivery(
                quantity=delivery.quantity,
                by=delivery.by,
                of_one_lot=one_lot,
                as_own_lot=own_lot,
                price_effect=effect,
                in_time=_in_time(delivery.by, one_lot.p90, own_lot.p90),
            )
        )
    return tuple(found)


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
