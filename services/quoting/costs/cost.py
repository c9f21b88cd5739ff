"""What a number of starts costs: batches in whole numbers, set-ups, minutes, consumables, glass, bought parts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from services.optics.law import law
from services.quoting.costs.learning import learning_of
from services.quoting.costs.money import exact
from services.quoting.costs.rework import batches_scrapped_by, kept_by, rework_run_min, reworked_pieces
from services.quoting.costs.shared_runs import SharedRun, pieces_reaching, reach_after
from services.shop.minutes import attended_min, exact_minutes_cost
from shared_schemas.blanks import MaterialModel, MaterialStep
from shared_schemas.operations import BoughtPart, Operation, Route
from shared_schemas.rates import Rates, WorkCentreRow


class OperationCost(NamedTuple):
    """One line of the route card at one number of starts. Amounts in the base currency.

    `batches` are those that its pieces are in; `borne` is how many it pays for: all of them, unless other parts share them.
    """

    part: str
    operation: Operation
    work_centre: WorkCentreRow
    pieces: int
    batches: int
    machine_min: float
    attended_min: float
    amount: Decimal
    borne: float


class Bought(NamedTuple):
    """A step of a purchase, and how many times it is bought."""

    step: MaterialStep
    times: int


@dataclass(frozen=True)
class MaterialCost:
    """Glass for one purchase at one number of blanks. Amount in the base currency."""

    model: MaterialModel
    blanks: int
    lots: int
    lead_days: float
    bought_mass_g: float
    amount: Decimal
    full_lots: int = 0
    rest: MaterialStep | None = None
    bought: tuple[Bought, ...] = ()


def operation_costs(
    route: Route, *, started: int, rates: Rates, runs: Mapping[str, SharedRun] | None = None
) -> list[OperationCost]:
    """Cost of each operation of a route when `started` pieces are started.

    Args:
        runs: what other parts share with it; without them its pieces fill runs by themselves.

    Notes:
        A piece lost early costs nothing later: scrap is paid for where it is lost. Of a run that parts share, each bears
        the minutes and consumables in proportion to the room it takes.
    """
    costs = []
    reach = 1.0
    for operation in route.operations:
        pieces = pieces_reaching(started=started, reach_share=reach)
        shared = runs.get(operation.shared_run) if runs and operation.shared_run is not None else None
        costs.append(_operation_cost(route.part, operation, pieces, rates, shared))
        reach = reach_after(reach_share=reach, yield_share=kept_by(operation), batch_loss=batches_scrapped_by(operation))
    return costs


@law
def batches_of(*, pieces: int, batch_size: int) -> int:
    """Batches that pieces are worked in.

    Equation: ceil(pieces / batch_size)
    """
    return math.ceil(pieces / batch_size)


@law
def run_of_batches_min(*, batches: float, batch_min: float, pieces: int, piece_min: float) -> float:
    """Minutes [min] of a run without its set-up.

    Equation: batches * batch_min + pieces * piece_min
    """
    return batches * batch_min + pieces * piece_min


@law
def run_of_times_min(*, times: float, batch_min: float, piece_min: float) -> float:
    """Minutes [min] of a run in which pieces go one at a time, `times` those of a first piece.

    Equation: times * (batch_min + piece_min)
    """
    return times * (batch_min + piece_min)


@law
def times_left(*, times: float, spared: Sequence[float]) -> float:
    """Times that the minutes of a piece are spent where some of them are for a sample only.

    Equation: times - sum(spared)
    """
    return times - sum(spared)


@law
def times_spared(*, share: float, times: float, times_of_sample: float) -> float:
    """Times that are spared of a share of the minutes, when a sample is enough for it.

    Equation: share * (times - times_of_sample)
    """
    return share * (times - times_of_sample)


@law
def machine_min(*, setup_min: float, run_min: float, rework_min: float = 0.0) -> float:
    """Minutes [min] that a machine is busy.

    Equation: setup_min + run_min + rework_min
    """
    return setup_min + run_min + rework_min


@law
def attended_with_rework_min(*, attended_min: float, rework_min: float) -> float:
    """Minutes [min] that a person is there: all the time at rework.

    Equation: attended_min + rework_min
    """
    return attended_min + rework_min


@law
def operation_cost(*, minutes_cost: Decimal, batches: float, consumables: Decimal) -> Decimal:
    """Cost of an operation: its minutes, and what each batch consumes.

    Equation: minutes_cost + round(batches, 9) * consumables
    """
    return minutes_cost + exact(batches, places=9) * consumables


@law
def operation_cost_with_charge(*, minutes_cost: Decimal, batches: float, consumables: Decimal, lot_charge: Decimal) -> Decimal:
    """Cost of an operation that has a charge for the lot: its minutes, what each batch consumes, and the charge.

    Equation: minutes_cost + round(batches, 9) * consumables + lot_charge
    """
    return minutes_cost + exact(batches, places=9) * consumables + lot_charge


def _operation_cost(part: str, operation: Operation, pieces: int, rates: Rates, shared: SharedRun | None) -> OperationCost:
    centre = rates.work_centre(operation.work_centre)
    batches = batches_of(pieces=pieces, batch_size=operation.batch_size)
    borne = float(batches) if shared is None else shared.borne(pieces, operation.batch_size)
    if operation.sampled or centre.learning_share < 1:
        run_min = run_minutes(operation, centre, pieces=pieces, batches=borne)
    else:
        run_min = run_of_batches_min(batches=borne, batch_min=operation.batch_min, pieces=pieces, piece_min=operation.piece_min)
    rework = rework_of(operation, pieces)
    machine = machine_min(setup_min=operation.setup_min, run_min=run_min, rework_min=rework)
    attended = attended_with_rework_min(
        attended_min=attended_min(setup_min=operation.setup_min, run_min=run_min, attended_share=operation.attended_share),
        rework_min=rework,
    )
    minutes = exact_minutes_cost(
        machine_min=machine,
        attended_min=attended,
        machine_rate_per_h=centre.machine_rate_per_h,
        labour_rate_per_h=centre.labour_rate_per_h,
    )
    amount = operation_cost_with_charge(
        minutes_cost=minutes, batches=borne, consumables=operation.consumables, lot_charge=operation.lot_charge
    )
    return OperationCost(part, operation, centre, pieces, batches, machine, attended, amount, borne)


def rework_of(operation: Operation, pieces: int) -> float:
    """Minutes of rework at an operation that so many pieces reach [min]."""
    if not operation.rework_share:
        return 0.0
    again = reworked_pieces(
        pieces=pieces, yield_share=operation.yield_share, batch_loss=operation.batch_loss, rework_share=operation.rework_share
    )
    return rework_run_min(reworked_pieces=again, rework_min=operation.rework_min)


def run_minutes(operation: Operation, centre: WorkCentreRow, *, pieces: int, batches: float) -> float:
    """Minutes of a run without its set-up [min]; what only a sample is looked at for counts for the sample."""
    if operation.sampled or (centre.learning_share < 1 and operation.batch_size == 1):
        times = learning_of(operation, centre).total
        spared = [
            times_spared(share=one.share, times=times(pieces), times_of_sample=times(pieces - one.spared(pieces)))
            for one in operation.sampled
        ]
        left = times_left(times=times(pieces), spared=spared)
        return run_of_times_min(times=left, batch_min=operation.batch_min, piece_min=operation.piece_min)
    return run_of_batches_min(batches=batches, batch_min=operation.batch_min, pieces=pieces, piece_min=operation.piece_min)


@law
def blanks_for(*, starts: Sequence[int]) -> int:
    """Blanks of each element in a purchase that several share.

    Equation: max(starts)
    """
    return max(starts)


@law
def full_lots_of(*, blanks: int, lot_blanks: int) -> int:
    """Whole lots of the last step of a purchase.

    Equation: floor(blanks / lot_blanks)
    """
    return blanks // lot_blanks


@law
def purchase_cost(*, full_lots: int, lot_cost: Decimal, rest_cost: Decimal) -> Decimal:
    """Cost of a purchase: whole lots, and the step that is enough for the rest.

    Equation: full_lots * lot_cost + rest_cost
    """
    return full_lots * lot_cost + rest_cost


@law
def purchase_mass_g(*, full_lots: int, lot_mass_g: float, rest_mass_g: float) -> float:
    """Mass [g] of the glass of a purchase, to the milligram.

    Equation: round(full_lots * lot_mass_g + rest_mass_g, 3)
    """
    return round(full_lots * lot_mass_g + rest_mass_g, 3)


def material_cost(model: MaterialModel, *, blanks: int) -> MaterialCost:
    """Cost of having `blanks` blanks of every member: the first step that is enough; past the last, lots are repeated."""
    last = model.steps[-1]
    full_lots = full_lots_of(blanks=blanks, lot_blanks=last.blanks)
    left = blanks - full_lots * last.blanks
    rest = next(step for step in model.steps if step.blanks >= left) if left else None
    bought = (*([Bought(last, full_lots)] if full_lots else []), *([Bought(rest, 1)] if rest else []))
    return MaterialCost(
        model=model,
        blanks=blanks,
        lots=sum(one.times for one in bought),
        lead_days=max((one.step.lead_days for one in bought), default=0.0),
        bought_mass_g=purchase_mass_g(
            full_lots=full_lots, lot_mass_g=last.bought_mass_g, rest_mass_g=rest.bought_mass_g if rest else 0.0
        ),
        amount=purchase_cost(full_lots=full_lots, lot_cost=last.cost, rest_cost=rest.cost if rest else Decimal(0)),
        full_lots=full_lots,
        rest=rest,
        bought=bought,
    )


def material_costs(models: Sequence[MaterialModel], *, started: Mapping[str, int]) -> list[MaterialCost]:
    """Cost of every purchase; members share one, for the largest number that any of them starts, unless it is cheaper apart."""
    return [purchase for model in models for purchase in _purchases(model, started)]


def _purchases(model: MaterialModel, started: Mapping[str, int]) -> list[MaterialCost]:
    together = material_cost(model, blanks=max(started[member] for member in model.members))
    apart = [material_cost(one, blanks=max(started[member] for member in one.members)) for one in model.apart]
    return apart if apart and sum(one.amount for one in apart) <= together.amount else [together]


@law
def bought_cost(*, lot_charge: Decimal, lenses: int, count: int, unit_price: Decimal) -> Decimal:
    """Cost of a bought part for so many started lenses.

    Equation: lot_charge + lenses * count * unit_price
    """
    return lot_charge + lenses * count * unit_price


@law
def parts_bought(*, lenses: int, count: int) -> int:
    """Pieces of a bought part for so many started lenses.

    Equation: lenses * count
    """
    return lenses * count


def bought_part_cost(part: BoughtPart, *, lenses: int) -> Decimal:
    """Lot charge and unit prices of a bought part for `lenses` started lenses."""
    return bought_cost(lot_charge=part.lot_charge, lenses=lenses, count=part.count, unit_price=part.unit_price)
