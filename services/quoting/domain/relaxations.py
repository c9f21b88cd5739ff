"""What the customer could relax to pay less: the same quote with one tolerance a class looser; only what changes is worked out."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from services.quoting.domain.batch_losses import losses_of
from services.quoting.domain.cost import MaterialCost, OperationCost, material_cost, operation_costs
from services.quoting.domain.evaluation import Evaluation, Plans, evaluate
from services.quoting.domain.lead_time import schedule, shared
from services.quoting.domain.money import exact
from services.quoting.domain.price import CostSums, unit_price
from services.quoting.domain.starts import part_start
from services.quoting.domain.worth import PerMinute
from shared_schemas.operations import LooserOperation, Operation, Relaxation, Route
from shared_schemas.quote import CombinedSaving, QuotedRelaxation

COMBINED = 5
"""How many of the best relaxations are worked out together."""
FURTHEST_QUANTITY = 0.5
"""A quantity that fills a block is offered when it is no more than this share above the one asked for."""


@dataclass(frozen=True)
class RoughCost:
    """Cost of a route in floating point, and its hours by work centre: for differences between many."""

    amount: float
    hours: Mapping[str, float]


def rough_cost(route: Route, *, started: int, per_minute: Mapping[str, PerMinute]) -> RoughCost:
    """What `operation_costs` says of a route, without a line for each operation."""
    amount, reaching = 0.0, float(started)
    hours: dict[str, float] = defaultdict(float)
    for operation in route.operations:
        pieces = math.ceil(reaching - 1e-9)
        batches = -(-pieces // operation.batch_size)
        run_min = batches * operation.batch_min + pieces * operation.piece_min
        centre = per_minute[operation.work_centre]
        amount += (operation.setup_min + run_min) * centre.machine
        amount += (operation.setup_min + operation.attended_share * run_min) * centre.labour
        amount += batches * float(operation.consumables)
        hours[operation.work_centre] += (operation.setup_min + run_min) / 60
        reaching *= operation.yield_share * (1 - operation.batch_loss)
    return RoughCost(amount, hours)


@dataclass(frozen=True)
class Saving:
    """What is saved per unit, in the currency of the quote, and in days."""

    per_unit: Decimal
    days: int

    def __bool__(self) -> bool:
        """Whether anything is saved at no loss in price."""
        return self.per_unit > 0 or (self.per_unit == 0 and self.days > 0)


def loosened(route: Route, changes: Sequence[LooserOperation]) -> Route:
    """A route with the operations that become of relaxations.

    Notes:
        Where several change one operation, each counts by its own factor on the minutes and its own power on the yield, as
        tolerances do; the largest batch of them is taken.
    """
    if not changes:
        return route
    operations = list(route.operations)
    for looser in changes:
        asked, so_far = route.operations[looser.position], operations[looser.position]
        operations[looser.position] = so_far.model_copy(update=_figures(asked, so_far, looser))
    return route.model_copy(update={"operations": tuple(operations)})


def _figures(asked: Operation, so_far: Operation, looser: LooserOperation) -> dict[str, float]:
    if so_far is asked:
        return {
            "batch_size": looser.batch_size,
            "batch_min": looser.batch_min,
            "piece_min": looser.piece_min,
            "yield_share": looser.yield_share,
        }
    return {
        "batch_size": max(so_far.batch_size, looser.batch_size),
        "batch_min": so_far.batch_min * _ratio(looser.batch_min, asked.batch_min),
        "piece_min": so_far.piece_min * _ratio(looser.piece_min, asked.piece_min),
        "yield_share": so_far.yield_share ** _ratio(math.log(looser.yield_share), math.log(asked.yield_share)),
    }


def _ratio(after: float, before: float) -> float:
    return after / before if before else 1.0


def quoted_relaxations(plans: Plans, relaxations: Sequence[Relaxation], *, against: Evaluation) -> tuple[QuotedRelaxation, ...]:
    """Each relaxation with its saving per unit and in days at the quantity of `against`, most saved first; none that saves nothing."""
    found = []
    now = {
        part: rough_cost(against.routes[part], started=against.starts[part].started, per_minute=plans.per_minute)
        for part in {one.part for one in relaxations}
    }
    for relaxation in relaxations:
        saving = _saving(plans, relaxation, against, now[relaxation.part])
        if saving:
            found.append(
                QuotedRelaxation(
                    where=relaxation.where,
                    tolerance=relaxation.tolerance,
                    from_figure=relaxation.from_figure,
                    to_figure=relaxation.to_figure,
                    unit=relaxation.unit,
                    quantity=against.quantity,
                    saving_per_unit=saving.per_unit,
                    days_saved=saving.days,
                )
            )
    return tuple(sorted(found, key=_most_saved))


def combined_saving(
    plans: Plans, relaxations: Sequence[Relaxation], quoted: Sequence[QuotedRelaxation], *, against: Evaluation
) -> CombinedSaving | None:
    """The best five granted together; `None` when there are not two."""
    best = quoted[:COMBINED]
    if len(best) < 2:
        return None
    named = {(one.where, one.tolerance) for one in best}
    granted = [one for one in relaxations if (one.where, one.tolerance) in named]
    routes = tuple(
        loosened(route, [looser for one in granted if one.part == route.part for looser in one.operations])
        for route in plans.routes
    )
    looser = evaluate(replace(plans, routes=routes), quantity=against.quantity, like=against)
    return CombinedSaving(
        where=tuple(one.where for one in best),
        tolerances=tuple(one.tolerance for one in best),
        quantity=against.quantity,
        saving_per_unit=against.price.unit - looser.price.unit,
        days_saved=against.lead_time.p50_days - looser.lead_time.p50_days,
    )


def with_full_block(plans: Plans, relaxed: Sequence[QuotedRelaxation], *, against: Evaluation) -> tuple[QuotedRelaxation, ...]:
    """The relaxations, and among them the quantity that fills a block when that saves."""
    fuller = full_block(plans, against=against)
    return tuple(sorted((*relaxed, fuller), key=_most_saved)) if fuller else tuple(relaxed)


def _most_saved(one: QuotedRelaxation) -> tuple[Decimal, str, str]:
    return -one.saving_per_unit, one.where, one.tolerance


def full_block(plans: Plans, *, against: Evaluation) -> QuotedRelaxation | None:
    """The quantity that fills the dearest batch which the one asked for leaves part empty, when a piece is cheaper then.

    Notes:
        Seats left free at an operation, over the share that reaches it, are pieces that could be started; divided by the
        starts for one lens they are lenses more.
    """
    within = [
        cost
        for costs in against.operations.values()
        for cost in costs
        if cost.operation.batch_size > 1 and 1 <= _lenses_more(cost, against) <= against.quantity * FURTHEST_QUANTITY
    ]
    if not within:
        return None
    dearest = max(within, key=lambda one: one.amount / one.batches)
    quantity = against.quantity + _lenses_more(dearest, against)
    fuller = evaluate(plans, quantity=quantity)
    saving = Saving(against.price.unit - fuller.price.unit, against.lead_time.p50_days - fuller.lead_time.p50_days)
    if saving.per_unit <= 0:
        return None
    return QuotedRelaxation(
        where="/quantities",
        tolerance="quantity, to fill a block",
        from_figure=against.quantity,
        to_figure=quantity,
        unit="lenses",
        quantity=against.quantity,
        saving_per_unit=saving.per_unit,
        days_saved=saving.days,
    )


def _lenses_more(cost: OperationCost, against: Evaluation) -> int:
    """Lenses more that go into the last batch of an operation."""
    free = cost.batches * cost.operation.batch_size - cost.pieces
    return free * against.quantity // cost.pieces if cost.pieces else 0


def _saving(plans: Plans, relaxation: Relaxation, against: Evaluation, now: RoughCost) -> Saving:
    """Saving of one relaxation; parts that feed others move these too, so that then the whole is worked out."""
    part = relaxation.part
    route = loosened(against.routes[part], relaxation.operations)
    before = against.starts[part]
    losses = losses_of(route.operations)
    start = part_start(
        part=part,
        losses=losses,
        wanted=before.needed,
        confidence=before.confidence,
        worth=plans.worths[part],
    )
    if route.consumes or losses.mean_yield == 1:
        routes = tuple(route if one.part == part else one for one in plans.routes)
        whole = evaluate(replace(plans, routes=routes), quantity=against.quantity, like=against)
        return Saving(against.price.unit - whole.price.unit, against.lead_time.p50_days - whole.lead_time.p50_days)
    materials = _materials(against, part, start.started)
    then = rough_cost(route, started=start.started, per_minute=plans.per_minute)
    sums = CostSums(
        material=against.costs.material + _sum(materials) - _sum(against.materials),
        operations=against.costs.operations + exact(then.amount - now.amount),
        bought_parts=against.costs.bought_parts,
    )
    price = unit_price(sums, quantity=against.quantity, terms=plans.terms, currency=plans.currency)
    days = _days_saved(plans, against, route, start.started, materials) if _matters(then, now, part, against) else 0
    return Saving(against.price.unit - price, days)


def _matters(then: RoughCost, now: RoughCost, part: str, against: Evaluation) -> bool:
    """Whether the part is on the critical path or crowds a work centre that is, and its hours move the date.

    Notes:
        On the path all hours that it saves count, off the path those at the crowded work centre; hours more count anywhere. The median of a log-normal moves by
        no more than 1.09 times its mean at the same variance (derived).
    """
    named = set(against.lead_time.critical_path)
    faster = {name: now.hours[name] - hours for name, hours in then.hours.items()}
    fewer = sum(max(by_h, 0.0) for name, by_h in faster.items() if part in named or shared(name) in named)
    more = sum(max(-by_h, 0.0) for by_h in faster.values())
    return against.schedule.moves(by_h=1.09 * fewer) or against.schedule.moves(by_h=-1.09 * more)


def _materials(against: Evaluation, part: str, started: int) -> tuple[MaterialCost, ...]:
    """Purchases, when another number of one part is started."""

    def blanks(member: str) -> int:
        return started if member == part else against.starts[member].started

    return tuple(
        material_cost(one.model, blanks=max(blanks(member) for member in one.model.members)) if part in one.model.members else one
        for one in against.materials
    )


def _sum(materials: Sequence[MaterialCost]) -> Decimal:
    return sum((one.amount for one in materials), Decimal(0))


def _days_saved(plans: Plans, against: Evaluation, route: Route, started: int, materials: Sequence[MaterialCost]) -> int:
    """Days between the date of the quote and the one with another route for one part."""
    part = route.part
    costs = operation_costs(route, started=started, rates=plans.rates)
    found = schedule(
        routes=plans.routes,
        operations={**against.operations, part: costs},
        materials=materials,
        bought_parts=plans.bought_parts,
        tooling=plans.tooling,
        begin=plans.begin,
        rates=plans.rates,
        like=against.schedule,
    )
    return against.lead_time.p50_days - found.lead_time.p50_days
