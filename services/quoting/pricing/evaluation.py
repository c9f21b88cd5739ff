"""One quantity worked out: ways, starts, costs, price and date from the plans of the stages before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.quoting.costs.cost import MaterialCost, OperationCost, bought_part_cost, material_costs, operation_costs
from services.quoting.costs.money import exact
from services.quoting.costs.shared_runs import SharedRuns, shared_runs
from services.quoting.pricing.planned import PartStart, Planned, plan_of
from services.quoting.pricing.plans import Made, PartWays, Plans, spread_tooling
from services.quoting.pricing.price import CostSums, Price, priced
from services.quoting.pricing.price_list import evened_unit_price
from services.quoting.promise.lead_time import Schedule, schedule
from services.quoting.risk.draws import Uncertain
from services.quoting.risk.outcomes import Outcomes, outcomes
from shared_schemas.lead_times import LeadTime
from shared_schemas.operations import Route


@dataclass(frozen=True)
class Evaluation:
    """One quantity: every figure on the way to its price and date."""

    plan: Planned
    runs: SharedRuns
    operations: Mapping[str, Sequence[OperationCost]]
    materials: tuple[MaterialCost, ...]
    costs: CostSums
    price: Price
    schedule: Schedule

    @property
    def quantity(self) -> int:
        """Good lenses wanted."""
        return self.plan.quantity

    @property
    def made(self) -> Made:
        """The plans of the ways that were chosen."""
        return self.plan.made

    @property
    def routes(self) -> dict[str, Route]:
        """The route of each part."""
        return {route.part: route for route in self.plan.made.routes}

    @property
    def starts(self) -> Mapping[str, PartStart]:
        """The starts of each part."""
        return self.plan.starts

    @property
    def lead_time(self) -> LeadTime:
        """Days and the date."""
        return self.schedule.lead_time

    @property
    def unit_cost(self) -> Decimal:
        """Cost of one good lens before overhead, in the base currency."""
        return self.costs.total / self.quantity


def evaluate(
    plans: Plans, *, quantity: int, reuse: Evaluation | None = None, evened: bool = True, ways: PartWays | None = None
) -> Evaluation:
    """Work out one quantity; routes that are those of `reuse`, at as many starts, are not worked out anew.

    Args:
        evened: whether the price is that of the even price list; without it the price is of this quantity alone.
        ways: the ways to make it, where they are not to be chosen.
    """
    plan = plan_of(plans, quantity, ways=ways)
    made, started = plan.made, plan.started
    runs = shared_runs(made.routes, started)
    before = reuse.routes if reuse else {}
    operations = {
        route.part: reuse.operations[route.part]
        if reuse
        and reuse.runs.alike(runs, route.part)
        and before[route.part] is route
        and reuse.starts[route.part].started == started[route.part]
        else operation_costs(route, started=started[route.part], rates=plans.rates, runs=runs.by_name)
        for route in made.routes
    }
    materials = material_costs(made.materials, started=started)
    lenses = started[made.lens.part]
    costs = CostSums(
        material=sum((material.amount for material in materials), Decimal(0)),
        operations=sum((cost.amount for lines in operations.values() for cost in lines), Decimal(0)),
        bought_parts=sum((bought_part_cost(part, lenses=lenses) for part in plans.bought_parts), Decimal(0)),
        losses=exact(plan.losses_cost, places=2),
        tooling=spread_tooling(made.tooling, plans.terms),
    )
    return Evaluation(
        plan=plan,
        runs=runs,
        operations=operations,
        materials=tuple(materials),
        costs=costs,
        price=priced(
            costs,
            quantity=quantity,
            terms=plans.terms,
            currency=plans.currency,
            evened=evened_unit_price(plans, quantity) if evened else None,
        ),
        schedule=schedule(
            routes=made.routes,
            operations=operations,
            materials=materials,
            bought_parts=plans.bought_parts,
            tooling=made.tooling,
            begin=plans.begin,
            rates=plans.rates,
            reuse=reuse.schedule if reuse else None,
            shop=plans.shop,
        ),
    )


def uncertain(evaluation: Evaluation, plans: Plans) -> Uncertain:
    """What may go otherwise than planned at one quantity."""
    made = evaluation.made
    return Uncertain(
        planned=float(evaluation.costs.total - evaluation.costs.losses),
        operations=evaluation.operations,
        materials=evaluation.materials,
        parts={route.part: _outcomes_of(route, evaluation.starts[route.part], made) for route in made.routes},
        causes=made.causes,
        glass_variation=plans.terms.glass_price_variation,
    )


def _outcomes_of(route: Route, start: PartStart, made: Made) -> Outcomes:
    """How the lot of a part may turn out; groups and lenses are put together until enough are good, of spare elements."""
    losses, worth = made.losses[route.part], made.worths[route.part]
    if route.kind == "element":
        return outcomes(started=start.started, needed=start.needed, losses=losses, worth=worth)
    return outcomes(started=start.needed, needed=start.needed, losses=losses, worth=worth.own)
