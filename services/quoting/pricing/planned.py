"""What is done for a quantity: the way of every element and the starts of every part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import cast

import numpy as np

from services.quoting.pricing.joint_starts import NO_SPARES, JointStarts, Lot, chance_of_starts, joint_starts
from services.quoting.pricing.plans import Made, PartWays, Plans
from services.quoting.pricing.starts import start_quantity
from services.quoting.pricing.ways import Numbers, WayCosts
from services.quoting.risk.losses import Batches, Losses
from services.quoting.risk.needs import Need, good_at_least, missing_in_the_mean, need_of
from services.quoting.risk.worth import Worth
from shared_schemas.operations import Route

LIKELY = 0.95
"""Ways are held against each other at starts that are enough with this chance, batches apart, whatever confidence is asked for (common practice range)."""
USUAL = 0.9
"""The confidence at which ways are held against each other again, by what the joint plan starts (the default of a request)."""
HALF, SUREST = 0.5, 0.9999
"""The chances of a lot at which its ways are held against each other go from here to there."""
LARGE = 2000
"""In orders above this a start more or less decides no way."""


@dataclass(frozen=True)
class PartStart:
    """One part: how many are needed, how many are started, what survives, and the chance that it is enough.

    `yield_share` is of single losses, `batches` can be lost whole. `losses_cost` is what losses are expected to cost beyond the
    pieces started, in the base currency. `planned` is how many would be started if an estimator had not set it.
    """

    part: str
    needed: int
    started: int
    yield_share: float
    chance: float
    batches: tuple[Batches, ...] = ()
    losses_cost: float = 0.0
    planned: int | None = None


@dataclass(frozen=True)
class Planned:
    """What is done for a quantity: the way of every element, the starts of every part, and the chance that they are enough."""

    quantity: int
    made: Made
    starts: Mapping[str, PartStart]
    joint: JointStarts

    @property
    def chance(self) -> float:
        """The chance that the starts are enough for the quantity."""
        return self.joint.chance

    @property
    def started(self) -> dict[str, int]:
        """How many of each part are started."""
        return {part: start.started for part, start in self.starts.items()}

    @property
    def losses_cost(self) -> float:
        """What losses are expected to cost beyond the pieces started, in the base currency."""
        return sum(start.losses_cost for start in self.starts.values())


def lots_needed(routes: Sequence[Route], quantity: int, spare_parts: Mapping[str, int] = NO_SPARES) -> dict[str, int]:
    """How many of each part a quantity of good lenses and spare parts beside them need, if nothing is lost."""
    needed = {**spare_parts, routes[-1].part: quantity}
    for route in reversed(routes):
        for consumed in route.consumes:
            needed[consumed.part] = needed.get(consumed.part, 0) + needed.get(route.part, 0) * consumed.count
    return needed


def cheapest_ways(plans: Plans, quantity: int) -> PartWays:
    """The cheapest way to make every element of a quantity: blank, faces and testing together.

    Notes: every way is held against the others at the starts that it takes to be enough with the same chance, tools that it needs
    counted in, and what its batches that may be lost cost to make again. First with the chance of nineteen in twenty, then
    with that which the joint plan of those ways gives the lot for a confidence of nine in ten, whatever is asked for.
        Where an estimator set figures, the ways are those that were chosen without them: what he set stays on the route he saw.
    """
    if plans.worked_out is None:
        return _cheapest_by_cost(plans, quantity)
    ways = cheapest_ways(plans.worked_out, quantity)
    there = all(ways[part] in costs.ways for part, costs in plans.way_costs.items())
    return ways if there else _cheapest_by_cost(plans, quantity)


def _cheapest_by_cost(plans: Plans, quantity: int) -> PartWays:
    first = _ways_at(plans, quantity, {})
    if quantity > LARGE or all(len(costs.ways) == 1 for costs in plans.way_costs.values()):
        return first
    likely = _joint(plans, quantity, first, USUAL)
    needed = lots_needed(plans.routes, quantity, plans.spares_asked)
    losses = plans.made(first).losses
    chances = {
        part: float(good_at_least(started=started, wanted=np.array([float(needed[part])]), losses=_singly(losses[part]))[0])
        for part, started in likely.started.items()
    }
    second = _ways_at(plans, quantity, chances)
    if second == first:
        return first
    costs = [
        _cost_of(plans, quantity, ways, joint)
        for ways, joint in ((first, likely), (second, _joint(plans, quantity, second, USUAL)))
    ]
    return second if costs[1] < costs[0] else first


def _ways_at(plans: Plans, quantity: int, chances: Mapping[str, float]) -> PartWays:
    """The cheapest way of every element when its lot is to be enough with a chance; with that of nineteen in twenty if none is given."""
    needed = lots_needed(plans.routes, quantity, plans.spares_asked)
    chosen = {}
    for part, costs in plans.way_costs.items():
        chance = min(max(chances.get(part, LIKELY), HALF), SUREST)
        starts = np.array(
            [float(start_quantity(wanted=needed[part], yield_share=share, confidence=chance)) for share in costs.singly.tolist()]
        )
        chosen[part] = costs.ways[int(np.argmin(_whole_cost(plans, quantity, costs, starts)))]
    return chosen


def _whole_cost(plans: Plans, quantity: int, costs: WayCosts, starts: Numbers) -> Numbers:
    terms = plans.terms
    marked_up = (1 + terms.overhead_share) * (1 + terms.contingency_share) / max(1 - terms.margin_at(quantity), 0.01)
    return costs.at(starts, marked_up=marked_up) * (2 - costs.good / costs.singly)


def _cost_of(plans: Plans, quantity: int, ways: PartWays, joint: JointStarts) -> float:
    """What the lots of a joint plan cost, each by its way."""
    whole = 0.0
    for part, costs in plans.way_costs.items():
        starts = np.full(len(costs.ways), float(joint.started[part]))
        whole += float(_whole_cost(plans, quantity, costs, starts)[costs.ways.index(ways[part])])
    return whole


def _singly(losses: Losses) -> Losses:
    return Losses(losses.yield_share)


def _that_are_there(ways: PartWays, plans: Plans, quantity: int) -> PartWays:
    """The given ways; the cheapest of an element that a relaxed tolerance leaves without the one given."""
    if all(ways[part] in costs.ways for part, costs in plans.way_costs.items()):
        return ways
    cheapest = _cheapest_by_cost(plans, quantity)
    return {part: ways[part] if ways[part] in costs.ways else cheapest[part] for part, costs in plans.way_costs.items()}


def plan_of(plans: Plans, quantity: int, *, ways: PartWays | None = None) -> Planned:
    """The ways and starts of a quantity; by ways that are given where they are."""
    if ways is None and quantity in plans.known:
        return cast(Planned, plans.known[quantity])
    chosen = cheapest_ways(plans, quantity) if ways is None else _that_are_there(ways, plans, quantity)
    made, joint = plans.made(chosen), _joint(plans, quantity, chosen, plans.confidence)
    needed = lots_needed(made.routes, quantity, plans.spares_asked)
    starts = {route.part: _start(route, needed[route.part], joint, made) for route in made.routes}
    plan = Planned(quantity, made, starts, joint)
    if quantity in plans.at:
        plan = _as_set(plan, plans.at[quantity].starts)
    if ways is None:
        plans.known[quantity] = plan
    return plan


def _as_set(plan: Planned, starts: Mapping[str, int]) -> Planned:
    """A plan with the starts that were set: their chance to be enough and what their losses cost follow from them."""
    if not starts:
        return plan
    made, joint = plan.made, plan.joint
    lots = {part: starts.get(part, number) for part, number in joint.started.items()}
    forced = replace(
        joint,
        started=lots,
        chance=chance_of_starts(joint.job, lots, made.losses),
        kits=starts.get(made.lens.part, joint.kits),
    )
    changed = {}
    for part in starts:
        before, losses, worth = plan.starts[part], made.losses[part], made.worths[part]
        if part in lots:
            start = _element_start(part, before.needed, starts[part], forced, losses, worth)
        else:
            start = _assembly_start(part, before.needed, starts[part], losses, worth)
            need = need_of(wanted=before.needed, losses=losses)
            again = _missing(need, starts[part]) - _missing(need, before.started)
            start = replace(start, losses_cost=before.losses_cost + again * worth.own_each)
        changed[part] = replace(start, planned=before.started)
    return replace(plan, starts={**plan.starts, **changed}, joint=forced)


def _joint(plans: Plans, quantity: int, ways: PartWays, confidence: float) -> JointStarts:
    """The joint plan of starts by ways that are given; remembered, as ways are weighed at a confidence that is often the one asked for."""
    key = (quantity, confidence, *ways.items())
    if key not in plans.joints:
        plans.joints[key] = _joint_anew(plans, quantity, ways, confidence)
    return cast(JointStarts, plans.joints[key])


def _joint_anew(plans: Plans, quantity: int, ways: PartWays, confidence: float) -> JointStarts:
    made = plans.made(ways)
    lots = [
        Lot(part, made.losses[part], partial(costs.of_way, costs.ways.index(ways[part]))) for part, costs in plans.way_costs.items()
    ]
    return joint_starts(
        routes=made.routes, quantity=quantity, confidence=confidence, losses=made.losses, lots=lots, spare_parts=plans.spares_asked
    )  # fmt: skip


def _start(route: Route, needed: int, joint: JointStarts, made: Made) -> PartStart:
    losses, worth = made.losses[route.part], made.worths[route.part]
    if route.kind == "element":
        return _element_start(route.part, needed, joint.started[route.part], joint, losses, worth)
    return _assembly_start(route.part, needed, joint.kits if route is made.lens else needed, losses, worth)


def _assembly_start(part: str, needed: int, started: int, losses: Losses, worth: Worth) -> PartStart:
    enough = float(good_at_least(started=started, wanted=np.array([needed]), losses=losses)[0])
    cost = (need_of(wanted=needed, losses=losses).mean - started) * worth.own_each
    return PartStart(part, needed, started, losses.yield_share, enough, losses.batches, cost)


def _missing(need: Need, started: int) -> float:
    """How many are taken in hand beyond those started, in the mean; what is started and not needed saves nothing."""
    return float(np.maximum(need.pieces - started, 0.0) @ need.chance)


def _element_start(part: str, needed: int, started: int, joint: JointStarts, losses: Losses, worth: Worth) -> PartStart:
    demand, chance = joint.job.demand[part]
    enough = float(chance @ good_at_least(started=started, wanted=demand, losses=losses) / chance.sum())
    mean = float(demand @ chance / chance.sum())
    cost = _again_cost(started, mean, 1 - enough, losses, worth)
    return PartStart(part, needed, started, losses.yield_share, enough, losses.batches, cost)


def restarted(plan: Planned, part: str, losses: Losses) -> PartStart:
    """The start of one element if it lost something else: the fewest pieces that are as likely to be enough as those planned."""
    before, made = plan.starts[part], plan.made
    wanted = np.array([float(before.needed)])
    chance = float(good_at_least(started=before.started, wanted=wanted, losses=made.losses[part])[0])
    started = start_quantity(
        wanted=before.needed,
        yield_share=losses.yield_share,
        confidence=min(max(chance, 1e-9), 1 - 1e-9),
        batches=losses.batches,
    )
    return _element_start(part, before.needed, started, plan.joint, losses, made.worths[part])


def _again_cost(started: int, wanted: float, short: float, losses: Losses, worth: Worth) -> float:
    """What making again costs in the mean: with the chance to fall short, a lot for the pieces that are missing then."""
    if short <= 0:
        return 0.0
    missing = missing_in_the_mean(started=started, wanted=wanted, losses=losses)
    lot = max(missing / short / losses.mean_yield, 1.0)
    return short * float(np.interp(lot, worth.again.number, worth.again.cost))
