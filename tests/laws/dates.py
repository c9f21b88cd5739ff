"""When lenses are done, for laws over dates: each lens is planned once and dated in many shops."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any

from services.quoting.costs.cost import OperationCost
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.promise.lead_time import Schedule, schedule, shop_of
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad, monday_of
from shared_schemas.rates import CalendarRow, Rates
from tests.chain import QUOTED_ON, alike_doublets, demo, published_triplet
from tests.laws.prices import planned, rates, singlets

SHARES = (0.5, 0.8, 0.9)
QUANTITIES = (1, 5, 25, 100)
FIRST_WEEK = monday_of(QUOTED_ON)

Booked = Mapping[str, Sequence[float]]
"""Hours taken of each work centre, week by week."""


@dataclass(frozen=True)
class Circumstances:
    """All that a date hangs on besides the plan: the shop, its book, how the order is worked on, and what is late or slow."""

    shop: Rates = field(default_factory=rates)
    booked: Booked | None = None
    waited_share: float = 1.0
    more_hours: float = 0.0
    slower: tuple[str, float] = ("", 1.0)
    """A work centre, and by what factor its minutes are longer."""
    glass_days: float = 0.0
    tool_days: float = 0.0
    bought_days: float = 0.0
    remakes: bool = True

    def with_row(self, table: str, name: str, **fields: Any) -> Circumstances:
        """The same, with fields of one row of the rates changed."""
        rows = tuple(row.model_copy(update=fields) if row.name == name else row for row in getattr(self.shop, table))
        return replace(self, shop=self.shop.model_copy(update={table: rows}))

    def closed(self, first: date, days: int) -> Circumstances:
        """The same, with the shop closed for so many days."""
        shut = CalendarRow(name="closed", holiday=first, until=first + timedelta(days=days - 1), source="a law", as_of=QUOTED_ON)
        return replace(self, shop=self.shop.model_copy(update={"calendar": (*self.shop.calendar, shut)}))


def dated(evaluation: Evaluation, now: Circumstances) -> Schedule:
    """The order in time, made as it is planned."""
    plans = evaluation.plans
    return schedule(
        routes=evaluation.made.routes,
        operations=_operations(evaluation, now),
        materials=[replace(one, lead_days=one.lead_days + now.glass_days) for one in evaluation.materials],
        bought_parts=_later(plans.bought_parts, now.bought_days),
        tooling=_later(evaluation.made.tooling, now.tool_days),
        begin=plans.begin,
        shop=shop_of(
            now.shop, begin=plans.begin, load=book_of(now.booked), orders=plans.orders, waited_share=now.waited_share,
            more_hours=now.more_hours,
        ),
        shortfalls=evaluation.shortfalls if now.remakes else {},
    )  # fmt: skip


def _later(rows: Sequence[Any], days: float) -> tuple[Any, ...]:
    return tuple(row.model_copy(update={"lead_days": row.lead_days + days}) for row in rows)


def _operations(evaluation: Evaluation, now: Circumstances) -> dict[str, list[OperationCost]]:
    centres = {row.name: row for row in now.shop.work_centres}
    return {part: [_cost(cost, centres, *now.slower) for cost in costs] for part, costs in evaluation.operations.items()}


def _cost(cost: OperationCost, centres: Mapping[str, Any], slow: str, factor: float) -> OperationCost:
    cost = cost._replace(work_centre=centres[cost.work_centre.name])
    if cost.work_centre.name != slow:
        return cost
    minutes = ("setup_min", "batch_min", "piece_min")
    operation = cost.operation.model_copy(update={name: getattr(cost.operation, name) * factor for name in minutes})
    return cost._replace(operation=operation, machine_min=cost.machine_min * factor)


def book_of(booked: Booked | None) -> LoadSnapshot | None:
    """A book with one order that takes those hours; none at all for `None`."""
    if booked is None:
        return None
    loads = tuple(CentreLoad(work_centre=name, booked_h=tuple(hours)) for name, hours in sorted(booked.items()))
    order = OrderLoad(order="Q-1", source="accepted", work_centres=loads)
    return LoadSnapshot(number=1, digest="-", made_at=datetime(2026, 11, 2, tzinfo=UTC), first_week=FIRST_WEEK, orders=(order,))


@lru_cache(maxsize=1)
def lenses() -> dict[str, dict[str, Any]]:
    """The lenses that laws of dates are tried on, by name: the demo, the published triplet, cemented pairs, and drawn elements."""
    requests = {"demo": demo(), "triplet": published_triplet(), "doublets": alike_doublets()}
    drawn = {f"singlet {place}": lens for place, lens in enumerate(singlets(seed=31, count=3))}
    return {
        name: json.loads(request.prescription.model_dump_json(by_alias=True, exclude_unset=True))
        for name, request in requests.items()
    } | drawn


@lru_cache(maxsize=100)
def made(lens: str, quantity: int) -> Evaluation:
    """A lens at one quantity; worked out once."""
    return planned(lenses()[lens]).at(quantity)


def made_as(lens: str, quantity: int, *, as_at: int) -> Evaluation:
    """A lens at one quantity, made in the ways that are chosen for another."""
    return evaluate(planned(lenses()[lens]).plans, quantity=quantity, ways=made(lens, as_at).made.ways)
