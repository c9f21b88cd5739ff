"""What the customer could relax to pay less: the same quote with one tolerance a class looser; only what changes is worked out."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from services.optics.law import law
from services.quoting.costs.cost import MaterialCost, OperationCost, material_costs, operation_costs, rework_of, run_minutes
from services.quoting.costs.money import exact
from services.quoting.costs.rework import batches_scrapped_by, kept_by
from services.quoting.costs.shared_runs import SharedRun
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.loosening import loosened
from services.quoting.pricing.planned import restarted
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.plate_offers import RADIUS, saving_per_unit, tooling_with
from services.quoting.pricing.price import unit_price
from services.quoting.pricing.ways import made_so
from services.quoting.promise.lead_time import days_saved, schedule
from services.quoting.risk.losses import losses_of
from services.shop.minutes import PerMinute, attended_min
from shared_schemas.operations import Relaxation, Route, ToolingOffer
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

    def plus(self, other: RoughCost) -> RoughCost:
        """Both together."""
        hours = defaultdict(float, self.hours)
        for name, more in other.hours.items():
            hours[name] += more
        return RoughCost(self.amount + other.amount, hours)


def rough_cost(
    route: Route, *, started: int, per_minute: Mapping[str, PerMinute], runs: Mapping[str, SharedRun] | None = None
) -> RoughCost:
    """What `operation_costs` says of a route, without a line for each operation; the `runs` that it shares whole, and once.

    Notes:
        Between two such costs the parts that other parts bear cancel out.
    """
    whole = dict(runs or {})
    amount, reaching = 0.0, float(started)
    hours: dict[str, float] = defaultdict(float)
    for operation in route.operations:
        pieces = math.ceil(reaching - 1e-9)
        batches = -(-pieces // operation.batch_size)
        if operation.shared_run is not None and runs:
            run = whole.pop(operation.shared_run, None)
            batches = run.runs if run else 0
        centre = per_minute[operation.work_centre]
        run_min = batches * operation.batch_min + pieces * operation.piece_min
        if centre.learns or operation.sampled:
            run_min = run_minutes(operation, centre.row, pieces=pieces, batches=batches)
        attended = attended_min(setup_min=operation.setup_min, run_min=run_min, attended_share=operation.attended_share)
        rework = rework_of(operation, pieces)
        amount += centre.cost(machine_min=operation.setup_min + run_min + rework, attended_min=attended + rework)
        amount += batches * float(operation.consumables) + float(operation.lot_charge)
        hours[operation.work_centre] += (operation.setup_min + run_min) / 60
        reaching *= kept_by(operation) * (1 - batches_scrapped_by(operation))
    return RoughCost(amount, hours)


def runs_left(
    route: Route, other: Route, *, runs: Mapping[str, SharedRun], per_minute: Mapping[str, PerMinute]
) -> RoughCost:  # fmt: skip
    """Cost of the `runs` that a route shares and another of the same part does not: other parts go on with them alone.

    Notes: with them, two rough costs hold the same runs whole, and what other parts bear cancels out again.
    """
    own = {operation.shared_run for operation in other.operations}
    shares = {operation.shared_run: operation for operation in route.operations if operation.shared_run not in own}
    amount, hours = 0.0, defaultdict[str, float](float)
    for name, operation in shares.items():
        run = runs.get(name) if name is not None else None
        if run is not None:
            run_min, centre = run.runs * operation.batch_min, per_minute[operation.work_centre]
            amount += run_min * centre.attended(operation.attended_share) + run.runs * float(operation.consumables)
            hours[operation.work_centre] += run_min / 60
    return RoughCost(amount, hours)


@law
def saving_of(*, unit_price: Decimal, price_then: Decimal) -> Decimal:
    """What a change saves of a piece.

    Equation: unit_price - price_then
    """
    return unit_price - price_then


@dataclass(frozen=True)
class Saving:
    """What is saved per unit, in the currency of the quote, and in days."""

    per_unit: Decimal
    days: int

    def __bool__(self) -> bool:
        """Whether anything is saved at no loss in price."""
        return self.per_unit > 0 or (self.per_unit == 0 and self.days > 0)


def quoted_relaxations(plans: Plans, relaxations: Sequence[Relaxation], *, against: Evaluation) -> tuple[QuotedRelaxation, ...]:
    """Each relaxation with its saving per unit and in days at the quantity of `against`, most saved first; none that saves nothing."""
    quoted = []
    now = {
        part: rough_cost(
            against.routes[part], started=against.starts[part].started, per_minute=plans.per_minute, runs=against.runs.by_name
        )
        for part in {one.part for one in relaxations}
    }
    for relaxation in relaxations:
        saving = (
            _together(plans, (relaxation,), against=against)
            if relaxation.needed
            else _saving(plans, relaxation, against, now[relaxation.part])
        )
        if saving:
            quoted.append(
                QuotedRelaxation(
                    where=relaxation.where,
                    tolerance=relaxation.tolerance,
                    from_figure=relaxation.from_figure,
                    to_figure=relaxation.to_figure,
                    unit=relaxation.unit,
                    quantity=against.quantity,
                    saving_per_unit=saving.per_unit,
                    days_saved=saving.days,
                    means=relaxation.means,
                )
            )
    return most_saved_first(quoted)


def combined_saving(
    plans: Plans, relaxations: Sequence[Relaxation], quoted: Sequence[QuotedRelaxation], *, against: Evaluation,
    offers: Sequence[ToolingOffer] = (),
) -> CombinedSaving | None:  # fmt: skip
    """The best five granted together, the offers of test plates among them; `None` when there are not two."""
    best = quoted[:COMBINED]
    if len(best) < 2:
        return None
    named = {(one.where, one.tolerance) for one in best}
    granted = [one for one in relaxations if (one.where, one.tolerance) in named]
    radii = {(one.where, one.to_figure) for one in best if one.tolerance == RADIUS}
    taken = [one for one in offers if (one.where, one.to_radius_mm) in radii]
    saving = _together(plans, granted, taken, against=against)
    return CombinedSaving(
        where=tuple(one.where for one in best),
        tolerances=tuple(one.tolerance for one in best),
        quantity=against.quantity,
        saving_per_unit=saving.per_unit,
        days_saved=saving.days,
    )


def _together(
    plans: Plans, granted: Sequence[Relaxation], taken: Sequence[ToolingOffer] = (), *, against: Evaluation
) -> Saving:  # fmt: skip
    """Saving of all those at once, with the charges and the lead time of the tools that fall away and that they need."""
    routes = tuple(loosened(route, [one for one in granted if one.part == route.part]) for route in plans.routes)
    tooling = tooling_with(plans.tooling, (*taken, *granted))
    looser = evaluate(
        replace(plans, routes=routes, tooling=tooling),
        quantity=against.quantity,
        reuse=against,
        evened=False,
        ways=against.made.ways,
    )
    once = saving_per_unit(plans, looser.made.tooling, against=against) if plans.terms.tooling == "one_off" else Decimal(0)
    return Saving(
        saving_of(unit_price=against.price.alone, price_then=looser.price.alone) + once,
        days_saved(days_as_quoted=against.schedule.p50_days, days_then=looser.schedule.p50_days),
    )


def with_full_block(plans: Plans, relaxed: Sequence[QuotedRelaxation], *, against: Evaluation) -> tuple[QuotedRelaxation, ...]:
    """The relaxations, and among them the quantity that fills a block when that saves."""
    fuller = full_block(plans, against=against)
    return most_saved_first((*relaxed, fuller)) if fuller else tuple(relaxed)


def most_saved_first(relaxed: Sequence[QuotedRelaxation]) -> tuple[QuotedRelaxation, ...]:
    """Sorted by saving per unit."""
    return tuple(sorted(relaxed, key=_most_saved))


def _most_saved(one: QuotedRelaxation) -> tuple[Decimal, str, str]:
    return -one.saving_per_unit, one.where, one.tolerance


def full_block(plans: Plans, *, against: Evaluation) -> QuotedRelaxation | None:
    """The quantity that fills the dearest batch which the one asked for leaves part empty, when a piece is cheaper then.

    Notes:
        Seats left free at an operation, over the share that reaches it, are pieces that could be started; divided by the
        starts for one lens they are lenses more. Against a price that an estimator set no other quantity is held.
    """
    if against.quantity in plans.at and plans.at[against.quantity].unit_price is not None:
        return None
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
    saving = Saving(
        saving_of(unit_price=against.price.unit, price_then=fuller.price.unit),
        days_saved(days_as_quoted=against.schedule.p50_days, days_then=fuller.schedule.p50_days),
    )
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
    whole_route = next(one for one in plans.routes if one.part == part)
    looser_route = loosened(whole_route, (relaxation,))
    route = made_so(looser_route, against.made.ways.get(part, ()))
    before = against.starts[part]
    losses = losses_of(route.operations)
    start = before
    if losses != against.made.losses[part] and not route.consumes:
        start = restarted(against.plan, part, losses)
    if (route.consumes and losses != against.made.losses[part]) or losses.mean_yield == 1:
        routes = tuple(looser_route if one.part == part else one for one in plans.routes)
        whole = evaluate(
            replace(plans, routes=routes), quantity=against.quantity, reuse=against, evened=False, ways=against.made.ways
        )
        return Saving(
            saving_of(unit_price=against.price.alone, price_then=whole.price.alone),
            days_saved(days_as_quoted=against.schedule.p50_days, days_then=whole.schedule.p50_days),
        )
    materials = against.materials if start.started == before.started else _materials(against, part, start.started)
    runs = against.runs.when(route, started=start.started)
    then = rough_cost(route, started=start.started, per_minute=plans.per_minute, runs=runs)
    if relaxation.removed or relaxation.added:
        then = then.plus(runs_left(against.routes[part], route, runs=runs, per_minute=plans.per_minute))
        now = now.plus(runs_left(route, against.routes[part], runs=against.runs.by_name, per_minute=plans.per_minute))
    sums = replace(
        against.costs,
        material=against.costs.material if materials is against.materials else _sum(materials),
        operations=against.costs.operations + exact(then.amount - now.amount),
        losses=against.costs.losses + exact(start.losses_cost - before.losses_cost, places=2),
    )
    price = unit_price(
        sums, quantity=against.quantity, terms=plans.terms_at(against.quantity), currency=plans.currency,
        discount_share=plans.discount_at(against.quantity),
    )  # fmt: skip
    days = _days_saved(plans, against, route, start.started, materials) if _matters(then, now, against) else 0
    return Saving(saving_of(unit_price=against.price.alone, price_then=price), days)


def _matters(then: RoughCost, now: RoughCost, against: Evaluation) -> bool:
    """Whether the hours that change may move the median date.

    Notes:
        Hours at a work centre count twice: minutes may take longer than planned, and other parts stand behind them.
    """
    changes = [now.hours.get(name, 0.0) - then.hours.get(name, 0.0) for name in {**now.hours, **then.hours}]
    fewer, more = sum(max(by_h, 0.0) for by_h in changes), sum(max(-by_h, 0.0) for by_h in changes)
    return against.schedule.may_move(by_h=2 * fewer) or against.schedule.may_move(by_h=-2 * more)


def _materials(against: Evaluation, part: str, started: int) -> tuple[MaterialCost, ...]:
    """Purchases, when another number of one part is started."""
    changed = {name: start.started for name, start in against.starts.items()} | {part: started}
    return tuple(material_costs(against.made.materials, started=changed))


def _sum(materials: Sequence[MaterialCost]) -> Decimal:
    return sum((one.amount for one in materials), Decimal(0))


def _days_saved(plans: Plans, against: Evaluation, route: Route, started: int, materials: Sequence[MaterialCost]) -> int:
    """Days between the date of the quote and the one with another route for one part."""
    part = route.part
    runs = against.runs.when(route, started=started)
    costs = operation_costs(route, started=started, rates=plans.rates, runs=runs)
    then = schedule(
        routes=against.made.routes,
        operations={**against.operations, part: costs},
        materials=materials,
        bought_parts=plans.bought_parts,
        tooling=against.made.tooling,
        begin=plans.begin,
        shop=plans.shop,
        shortfalls=against.shortfalls,
        reuse=against.schedule,
    )
    return days_saved(days_as_quoted=against.schedule.p50_days, days_then=then.p50_days)
