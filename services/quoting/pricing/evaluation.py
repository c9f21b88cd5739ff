"""One quantity worked out: ways, starts, costs, price and date from the plans of the stages before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import cached_property

from services.quoting.costs.cost import MaterialCost, OperationCost, bought_part_cost, material_costs, operation_costs
from services.quoting.costs.money import exact
from services.quoting.costs.shared_runs import SharedRuns, shared_runs
from services.quoting.pricing.planned import PartStart, Planned, plan_of
from services.quoting.pricing.plans import Made, PartWays, Plans, spread_tooling
from services.quoting.pricing.price import CostSums, Price, priced
from services.quoting.pricing.price_list import evened_unit_price
from services.quoting.pricing.spare_parts import PricedSpares, priced_spares
from services.quoting.pricing.split import SplitCharge, split_charge
from services.quoting.promise.lead_time import Schedule, Shop, schedule
from services.quoting.risk.draws import Uncertain
from services.quoting.risk.outcomes import Outcomes, outcomes
from services.quoting.risk.shortfalls import Shortfall, element_shortfall, lens_shortfall
from shared_schemas.lead_times import LeadTime
from shared_schemas.operations import Route, Tooling


@dataclass(frozen=True)
class Evaluation:
    """One quantity: every figure on the way to its price and date."""

    plan: Planned
    runs: SharedRuns
    operations: Mapping[str, Sequence[OperationCost]]
    materials: tuple[MaterialCost, ...]
    costs: CostSums
    price: Price
    plans: Plans = field(repr=False)
    spares: PricedSpares | None = None
    """Spare parts beside the lenses, where the price is that of the list."""
    split: SplitCharge | None = None
    """What deliveries beyond the first are charged at, there too."""
    before: Evaluation | None = field(default=None, repr=False)
    """Another evaluation, whose parts in time are taken where they are the same."""

    @cached_property
    def chances(self) -> Uncertain:
        """What may go otherwise than planned."""
        made = self.made
        return Uncertain(
            planned=float(self.costs.total - self.costs.losses),
            operations=self.operations,
            materials=self.materials,
            parts={route.part: self._outcomes(route) for route in made.routes},
            causes=made.causes,
            glass_variation=self.plans.terms.glass_price_variation,
        )

    def _outcomes(self, route: Route) -> Outcomes:
        start = self.starts[route.part]
        before = self.before
        if before is not None and before.routes.get(route.part) is route and before.starts[route.part] == start:
            return before.chances.parts[route.part]
        return _outcomes_of(route, start, self.made)

    @cached_property
    def shortfalls(self) -> dict[str, Shortfall]:
        """In which draws the lot of which part is short."""
        found = {route.part: self._shortfall(route) for route in self.made.routes}
        return {part: one for part, one in found.items() if one is not None}

    def _shortfall(self, route: Route) -> Shortfall | None:
        part, start, orders = route.part, self.starts[route.part], self.plans.orders
        before = self.before
        if (
            before is not None
            and before.routes.get(part) is route
            and before.starts[part] == start
            and before.quantity == self.quantity
        ):
            return before.shortfalls.get(part)
        if route.kind == "cemented_group":
            return None
        if route.kind == "lens":
            return lens_shortfall(part, enough=start.chance, orders=orders)
        return element_shortfall(
            part,
            self.chances.parts[part],
            self.plan.joint.job.demand[part],
            started=start.started,
            good_share=self.made.losses[part].mean_yield,
            orders=orders,
        )

    @cached_property
    def schedule(self) -> Schedule:
        """The order in time, in the shop as it works every day."""
        return self.scheduled(self.plans.shop, self.materials, reuse=self.before.schedule if self.before else None)

    def scheduled(
        self, shop: Shop, materials: Sequence[MaterialCost], *, reuse: Schedule | None = None,
        operations: Mapping[str, Sequence[OperationCost]] | None = None, tooling: Sequence[Tooling] | None = None,
        arrivals: Mapping[str, tuple[str, date]] | None = None,
    ) -> Schedule:  # fmt: skip
        """The order in time in another shop, with other deliveries of glass, tools or the customer's, or with operations that are done elsewhere."""
        return schedule(
            routes=self.made.routes,
            operations=operations or self.operations,
            materials=materials,
            bought_parts=self.plans.bought_parts,
            tooling=self.made.tooling if tooling is None else tooling,
            begin=self.plans.begin,
            shop=shop,
            shortfalls=self.shortfalls,
            reuse=reuse,
            supplied=self.plans.arrivals if arrivals is None else arrivals,
        )

    @property
    def beside(self) -> Decimal:
        """What is beside the lenses in the price before a discount: spare parts, and deliveries beyond the first."""
        return (self.spares.worked_out if self.spares else Decimal(0)) + (self.split.amount if self.split else Decimal(0))

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

    def lost_in_the_mean(self, part: str) -> float:
        """How many of those started of a part are expected to be lost."""
        return round(self.starts[part].started * (1 - self.made.losses[part].mean_yield), 2)

    @property
    def lead_time(self) -> LeadTime:
        """Days and the date."""
        return self.schedule.lead_time

    @property
    def unit_cost(self) -> Decimal:
        """Cost of one good lens before overhead, with its share of spare parts, in the base currency."""
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
    spares = priced_spares(plans, quantity) if evened else None
    split = split_charge(plans, made, quantity) if evened else None
    return Evaluation(
        plan=plan,
        runs=runs,
        operations=operations,
        materials=tuple(materials),
        costs=costs,
        price=priced(
            costs,
            quantity=quantity,
            terms=plans.terms_at(quantity),
            currency=plans.currency,
            evened=evened_unit_price(plans, quantity) if evened else None,
            discount_share=plans.discount_at(quantity),
            own_price=plans.at[quantity].unit_price if quantity in plans.at else None,
            spare_parts=spares.worked_out if spares else Decimal(0),
            spares_asked=spares.amount if spares else Decimal(0),
            deliveries=split.amount if split else Decimal(0),
        ),
        plans=plans,
        before=reuse,
        spares=spares,
        split=split,
    )


def _outcomes_of(route: Route, start: PartStart, made: Made) -> Outcomes:
    """How the lot of a part may turn out; groups and lenses are put together until enough are good, of spare elements."""
    losses, worth = made.losses[route.part], made.worths[route.part]
    if route.kind == "element":
        return outcomes(started=start.started, needed=start.needed, losses=losses, worth=worth)
    return outcomes(started=start.needed, needed=start.needed, losses=losses, worth=worth.own)
