"""What would it cost to have it sooner by all means at once? First in every queue, overtime, glass by the faster delivery."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from services.optics.law import law
from services.quoting.costs.cost import MaterialCost
from services.quoting.costs.money import exact, in_currency, total
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.price import NAMES, Markups, markups, sum_of
from services.quoting.promise.lead_time import Schedule, Shop, days_saved
from services.shop.purchases import graded_lead_days
from shared_schemas.lead_times import Expedite, Line, LineKind
from shared_schemas.rates import StockFormRow


@dataclass(frozen=True)
class FasterStock:
    """What is bought of one stock by its faster delivery: its row, the amount in the base currency, and how many times."""

    row: StockFormRow
    amount: Decimal
    times: int

    @property
    def surcharge(self) -> Decimal:
        """What it costs more, in the base currency."""
        return express_surcharge(times=self.times, amount=self.amount, surcharge_share=self.row.express_surcharge or 0.0)


@dataclass(frozen=True)
class FasterGlass:
    """One purchase by the faster delivery of its stock: what of it comes faster, and when all is there."""

    glass: str
    stocks: tuple[FasterStock, ...]
    lead_days: float

    @property
    def surcharge(self) -> Decimal:
        """What it costs more, in the base currency."""
        return total(amounts=[one.surcharge for one in self.stocks])


@law
def express_surcharge(*, times: int, amount: Decimal, surcharge_share: float) -> Decimal:
    """What the faster delivery of a stock costs more.

    Equation: times * amount * surcharge_share
    """
    return times * amount * Decimal(repr(surcharge_share))


@law
def priority_cost(*, operations: Decimal, priority_share: float) -> Decimal:
    """What it costs to go first in every queue.

    Equation: operations * priority_share
    """
    return operations * Decimal(repr(priority_share))


@law
def overtime_cost(*, labour: Decimal, hours_share: float, overtime_surcharge: float) -> Decimal:
    """What overtime costs more: of days longer by a share of their hours, so much of the work falls into the longer part.

    Equation: labour * hours_share / (1 + hours_share) * overtime_surcharge
    """
    more = Decimal(repr(hours_share))
    return labour * more / (1 + more) * Decimal(repr(overtime_surcharge))


@dataclass(frozen=True)
class Surcharges:
    """What an expedited order costs more, in the base currency."""

    priority: Decimal
    overtime: Decimal
    faster_glass: Decimal

    @property
    def total(self) -> Decimal:
        """Everything together."""
        return total(amounts=[self.priority, self.overtime, self.faster_glass])


@dataclass(frozen=True)
class Expedited:
    """One quantity, expedited: when it ships, what was bought faster, and the lines of its price in the currency of the quote."""

    schedule: Schedule
    glass: tuple[FasterGlass, ...]
    surcharges: Surcharges
    markups: Markups
    days_saved: int
    lines: tuple[Line, ...]

    @property
    def cost(self) -> Decimal:
        """What the customer pays more for the whole quantity."""
        return sum_of(self.lines)

    def as_offer(self) -> Expedite:
        """As it stands in the quote."""
        lead = self.schedule.lead_time
        return Expedite(
            p50_days=lead.p50_days,
            p80_days=lead.p80_days,
            p90_days=lead.p90_days,
            ship_date=lead.ship_date,
            days_saved=self.days_saved,
            cost=self.cost,
            lines=self.lines,
            critical_path=lead.critical_path,
        )


def expedited(evaluation: Evaluation, plans: Plans) -> Expedited | None:
    """The same order, expedited; `None` where the terms know no such thing or no day would be saved.

    Notes:
        Of every wait the share `expedite_queue_share` is left, and the working day is longer by `overtime_hours_share`. Glass
        is bought by the faster delivery where it begins the path that sets the date and its stock offers one, as long as the
        date gets better. Tools and bought parts take as long as ever.

    Source: a rule of overtime and priority, common practice.
    """
    shop = plans.expedited_shop
    if shop is None:
        return None
    sooner, glass = _with_faster_glass(evaluation, plans, shop)
    saved = days_saved(days_as_quoted=evaluation.schedule.p90_days, days_then=sooner.p90_days)
    if saved <= 0:
        return None
    surcharges = _surcharges(evaluation, plans, attended_cost(evaluation, plans), glass)
    added = markups(surcharges.total, plans.terms_at(evaluation.quantity), quantity=evaluation.quantity)
    return Expedited(sooner, glass, surcharges, added, saved, _lines(surcharges, added, plans))


def _with_faster_glass(evaluation: Evaluation, plans: Plans, shop: Shop) -> tuple[Schedule, tuple[FasterGlass, ...]]:
    """The schedule of an order that goes first, with the purchases that are worth having sooner."""
    materials = list(evaluation.materials)
    sooner = evaluation.scheduled(shop, materials)
    bought: list[FasterGlass] = []
    tried: set[int] = set()
    while True:
        begins_with = sooner.network.path()[0]
        place = next((i for i, one in enumerate(materials) if i not in tried and begins_with == f"glass {one.model.glass}"), None)
        if place is None:
            return sooner, tuple(bought)
        tried.add(place)
        faster = faster_glass(materials[place], plans)
        if faster is None:
            continue
        materials[place] = replace(materials[place], lead_days=faster.lead_days)
        then = evaluation.scheduled(shop, materials, reuse=sooner)
        if then.ship_date < sooner.ship_date:
            sooner = then
            bought.append(faster)
        else:
            materials[place] = replace(materials[place], lead_days=evaluation.materials[place].lead_days)


def faster_glass(material: MaterialCost, plans: Plans) -> FasterGlass | None:
    """A purchase by the faster delivery of all its stock that has one; `None` where that is not sooner."""
    stocks: list[FasterStock] = []
    lead_days = 0.0
    for bought in material.bought:
        amounts = {one.stock: one.amount for one in bought.step.purchases if not one.owned} or {bought.step.stock: bought.step.cost}
        grade_days = max((one.grade_days for one in bought.step.purchases), default=0.0)
        for stock, amount in amounts.items():
            row = plans.express.get(stock)
            if row is None or row.express_lead_days is None or row.express_surcharge is None:
                lead_days = max(lead_days, bought.step.lead_days)
                continue
            stocks.append(FasterStock(row, amount, bought.times))
            lead_days = max(lead_days, graded_lead_days(lead_days=row.express_lead_days, grade_days=grade_days))
    if not stocks or lead_days >= material.lead_days:
        return None
    return FasterGlass(material.model.glass, tuple(stocks), lead_days)


def attended_cost(evaluation: Evaluation, plans: Plans) -> Decimal:
    """What the attended minutes of all operations cost, in the base currency."""
    return exact(
        sum(
            cost.attended_min * plans.per_minute[cost.work_centre.name].labour
            for costs in evaluation.operations.values()
            for cost in costs
        )
    )


def _surcharges(evaluation: Evaluation, plans: Plans, labour: Decimal, glass: Sequence[FasterGlass]) -> Surcharges:
    """What it costs more."""
    terms = plans.terms
    return Surcharges(
        priority=priority_cost(operations=evaluation.costs.operations, priority_share=terms.expedite_priority_share or 0.0),
        overtime=overtime_cost(
            labour=labour, hours_share=terms.overtime_hours_share or 0.0, overtime_surcharge=terms.overtime_surcharge or 0.0
        ),
        faster_glass=total(amounts=[one.surcharge for one in glass]),
    )


def _lines(surcharges: Surcharges, added: Markups, plans: Plans) -> tuple[Line, ...]:
    amounts: dict[LineKind, Decimal] = {
        "priority": surcharges.priority,
        "overtime": surcharges.overtime,
        "faster_glass": surcharges.faster_glass,
        "overhead": added.overhead,
        "contingency": added.contingency,
        "margin": added.margin,
    }
    return tuple(
        Line(name=NAMES[kind], kind=kind, amount=in_currency(amount, plans.currency)) for kind, amount in amounts.items() if amount
    )
