"""One quantity worked out: starts, costs, price and date from the plans of the stages before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from services.quoting.domain.cost import MaterialCost, OperationCost, bought_part_cost, material_costs, operation_costs
from services.quoting.domain.lead_time import Schedule, schedule
from services.quoting.domain.price import CostSums, Price, priced
from services.quoting.domain.starts import PartStart, part_starts
from shared_schemas.blanks import MaterialModel
from shared_schemas.operations import BoughtPart, Route, Tooling
from shared_schemas.quote import LeadTime
from shared_schemas.rates import CommercialRow, CurrencyRow, Rates


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


@dataclass(frozen=True)
class Evaluation:
    """One quantity: every figure on the way to its price and date."""

    quantity: int
    routes: Mapping[str, Route]
    starts: Mapping[str, PartStart]
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


def evaluate(plans: Plans, *, quantity: int, like: Evaluation | None = None) -> Evaluation:
    """Work out one quantity; routes that are those of `like`, at as many starts, are not worked out anew."""
    starts = part_starts(routes=plans.routes, quantity=quantity, confidence=plans.confidence)
    started = {part: start.started for part, start in starts.items()}
    operations = {
        route.part: like.operations[route.part]
        if like and like.routes[route.part] is route and like.starts[route.part].started == started[route.part]
        else operation_costs(route, started=started[route.part], rates=plans.rates)
        for route in plans.routes
    }
    materials = material_costs(plans.materials, started=started)
    lenses = started[plans.routes[-1].part]
    costs = CostSums(
        material=sum((material.amount for material in materials), Decimal(0)),
        operations=sum((cost.amount for lines in operations.values() for cost in lines), Decimal(0)),
        bought_parts=sum((bought_part_cost(part, lenses=lenses) for part in plans.bought_parts), Decimal(0)),
    )
    return Evaluation(
        quantity=quantity,
        routes={route.part: route for route in plans.routes},
        starts=starts,
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
        ),
    )
