"""One quantity worked out: starts, costs, price and date from the plans of the stages before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property

from services.quoting.costs.cost import MaterialCost, OperationCost, bought_part_cost, material_costs, operation_costs
from services.quoting.costs.shared_runs import SharedRuns, shared_runs
from services.quoting.pricing.price import CostSums, Price, priced
from services.quoting.pricing.starts import PartStart, part_starts
from services.quoting.promise.lead_time import Schedule, Shop, schedule, shop_of
from services.quoting.risk.draws import Causes, Uncertain, causes_of
from services.quoting.risk.losses import Losses, losses_of
from services.quoting.risk.outcomes import outcomes
from services.quoting.risk.worth import Worth, worths_of
from services.shop.minutes import PerMinute, per_minute
from shared_schemas.blanks import MaterialModel
from shared_schemas.operations import BoughtPart, Route, Tooling
from shared_schemas.quote import LeadTime
from shared_schemas.rates import CommercialRow, CurrencyRow, Rates, StockFormRow


@dataclass(frozen=True)
class Plans:
    """What every quantity is worked out from."""

    routes: tuple[Route, ...]
    materials: tuple[MaterialModel, ...]
    bought_parts: tuple[BoughtPart, ...]
    tooling: tuple[Tooling, ...]
    terms: CommercialRow
    currency: CurrencyRow
    confidence: float
    begin: date
    rates: Rates

    @cached_property
    def losses(self) -> dict[str, Losses]:
        """What each route loses."""
        return {route.part: losses_of(route.operations) for route in self.routes}

    @cached_property
    def per_minute(self) -> dict[str, PerMinute]:
        """What a minute of each work centre costs."""
        return {row.name: per_minute(row) for row in self.rates.work_centres}

    @cached_property
    def causes(self) -> dict[str, Causes]:
        """Which operations of each route cause its losses."""
        return {route.part: causes_of(route.operations) for route in self.routes}

    @cached_property
    def shop(self) -> Shop:
        """The shop as it works every day."""
        return shop_of(self.rates)

    @cached_property
    def expedited_shop(self) -> Shop | None:
        """The shop for an order that goes first in every queue and is worked on overtime, if the terms know any."""
        left, more = self.terms.expedite_queue_share, self.terms.overtime_hours_share
        return None if left is None or more is None else shop_of(self.rates, waited_share=left, more_hours=more)

    @cached_property
    def express(self) -> dict[str, StockFormRow]:
        """Rows of stock that have a faster delivery, by name."""
        return {row.name: row for row in self.rates.stock_forms if row.express_lead_days is not None}

    @cached_property
    def spread_tooling(self) -> Decimal:
        """Charges for tools that the terms spread over the order, in the base currency."""
        return sum((tool.charge for tool in self.tooling), Decimal(0)) if self.terms.tooling == "spread" else Decimal(0)

    @cached_property
    def worths(self) -> dict[str, Worth]:
        """What pieces of each part cost, near enough for weighing risks."""
        return worths_of(routes=self.routes, materials=self.materials, bought_parts=self.bought_parts, rates=self.rates)


@dataclass(frozen=True)
class Evaluation:
    """One quantity: every figure on the way to its price and date."""

    quantity: int
    routes: Mapping[str, Route]
    starts: Mapping[str, PartStart]
    runs: SharedRuns
    operations: Mapping[str, Sequence[OperationCost]]
    materials: tuple[MaterialCost, ...]
    costs: CostSums
    price: Price
    schedule: Schedule

    @property
    def lead_time(self) -> LeadTime:
        """Days and the date."""
        return self.schedule.lead_time

    @property
    def unit_cost(self) -> Decimal:
        """Cost of one good lens before overhead, in the base currency."""
        return self.costs.total / self.quantity


def evaluate(plans: Plans, *, quantity: int, reuse: Evaluation | None = None) -> Evaluation:
    """Work out one quantity; routes that are those of `like`, at as many starts, are not worked out anew."""
    starts = part_starts(
        routes=plans.routes, quantity=quantity, confidence=plans.confidence, losses=plans.losses, worths=plans.worths
    )
    started = {part: start.started for part, start in starts.items()}
    runs = shared_runs(plans.routes, started)
    operations = {
        route.part: reuse.operations[route.part]
        if reuse
        and reuse.runs.alike(runs, route.part)
        and reuse.routes[route.part] is route
        and reuse.starts[route.part].started == started[route.part]
        else operation_costs(route, started=started[route.part], rates=plans.rates, runs=runs.by_name)
        for route in plans.routes
    }
    materials = material_costs(plans.materials, started=started)
    lenses = started[plans.routes[-1].part]
    costs = CostSums(
        material=sum((material.amount for material in materials), Decimal(0)),
        operations=sum((cost.amount for lines in operations.values() for cost in lines), Decimal(0)),
        bought_parts=sum((bought_part_cost(part, lenses=lenses) for part in plans.bought_parts), Decimal(0)),
        tooling=plans.spread_tooling,
    )
    return Evaluation(
        quantity=quantity,
        routes={route.part: route for route in plans.routes},
        starts=starts,
        runs=runs,
        operations=operations,
        materials=tuple(materials),
        costs=costs,
        price=priced(costs, quantity=quantity, terms=plans.terms, currency=plans.currency),
        schedule=schedule(
            routes=plans.routes,
            operations=operations,
            materials=materials,
            bought_parts=plans.bought_parts,
            tooling=plans.tooling,
            begin=plans.begin,
            rates=plans.rates,
            reuse=reuse.schedule if reuse else None,
            shop=plans.shop,
        ),
    )


def uncertain(evaluation: Evaluation, plans: Plans) -> Uncertain:
    """What may go otherwise than planned at one quantity."""
    return Uncertain(
        planned=float(evaluation.costs.total),
        operations=evaluation.operations,
        materials=evaluation.materials,
        parts={
            part: outcomes(started=start.started, needed=start.needed, losses=plans.losses[part], worth=plans.worths[part])
            for part, start in evaluation.starts.items()
        },
        causes=plans.causes,
        glass_variation=plans.terms.glass_price_variation,
    )
