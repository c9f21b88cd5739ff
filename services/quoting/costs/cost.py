"""What a number of starts costs: batches in whole numbers, set-ups, minutes, consumables, glass, bought parts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from services.quoting.costs.learning import learning_of
from services.quoting.costs.money import exact
from services.quoting.costs.shared_runs import SharedRun
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
    bought: tuple[Bought, ...] = ()


def operation_costs(
    route: Route, *, started: int, rates: Rates, runs: Mapping[str, SharedRun] | None = None
) -> list[OperationCost]:
    """Cost of each operation of a route when `started` pieces are started.

    Args:
        runs: what other parts share with it; without them its pieces fill runs by themselves.

    Notes:
        pieces at operation k = ceil(n y_1 … y_(k-1)); batches = ceil(pieces / batch size);
        run = batches x batch minutes + pieces x piece minutes, where a person's hands learn: times of the first piece by the unit
        curve x minutes of a piece; machine minutes = set-up + run; attended = set-up + share x run;
        amount = machine minutes x machine rate + attended minutes x labour rate + batches x consumables.
        A piece lost early costs nothing later: scrap is paid for where it is lost. Of a run that parts share, each bears
        the minutes and consumables in proportion to the room it takes.
    """
    found = []
    reaching = float(started)
    for operation in route.operations:
        pieces = math.ceil(round(reaching, 9))
        shared = runs.get(operation.shared_run) if runs and operation.shared_run is not None else None
        found.append(_operation_cost(route.part, operation, pieces, rates, shared))
        reaching *= operation.yield_share * (1 - operation.batch_loss)
    return found


def _operation_cost(part: str, operation: Operation, pieces: int, rates: Rates, shared: SharedRun | None) -> OperationCost:
    centre = rates.work_centre(operation.work_centre)
    batches = math.ceil(pieces / operation.batch_size)
    borne = float(batches) if shared is None else shared.borne(pieces, operation.batch_size)
    if operation.sampled or centre.learning_share < 1:
        run_min = run_minutes(operation, centre, pieces=pieces, batches=borne)
    else:
        run_min = borne * operation.batch_min + pieces * operation.piece_min
    machine_min = operation.setup_min + run_min
    attended = attended_min(setup_min=operation.setup_min, run_min=run_min, attended_share=operation.attended_share)
    consumables = (batches if shared is None else exact(borne, places=9)) * operation.consumables
    amount = exact_minutes_cost(machine_min=machine_min, attended_min=attended, centre=centre) + consumables
    return OperationCost(part, operation, centre, pieces, batches, machine_min, attended, amount, borne)


def run_minutes(operation: Operation, centre: WorkCentreRow, *, pieces: int, batches: float) -> float:
    """Minutes of a run without its set-up [min]; what only a sample is looked at for counts for the sample."""
    if operation.sampled or (centre.learning_share < 1 and operation.batch_size == 1):
        times = learning_of(operation, centre).total
        spared = sum(one.share * (times(pieces) - times(pieces - one.spared(pieces))) for one in operation.sampled)
        return (times(pieces) - spared) * (operation.batch_min + operation.piece_min)
    return batches * operation.batch_min + pieces * operation.piece_min


def material_cost(model: MaterialModel, *, blanks: int) -> MaterialCost:
    """Cost of having `blanks` blanks of every member: the first step that is enough; past the last, lots are repeated."""
    last = model.steps[-1]
    full_lots, rest = divmod(blanks, last.blanks)
    top_up = [next(step for step in model.steps if step.blanks >= rest)] if rest else []
    bought = (*([Bought(last, full_lots)] if full_lots else []), *(Bought(step, 1) for step in top_up))
    return MaterialCost(
        model=model,
        blanks=blanks,
        lots=full_lots + len(top_up),
        lead_days=max((one.step.lead_days for one in bought), default=0.0),
        bought_mass_g=full_lots * last.bought_mass_g + sum(step.bought_mass_g for step in top_up),
        amount=full_lots * last.cost + sum((step.cost for step in top_up), Decimal(0)),
        bought=bought,
    )


def material_costs(models: Sequence[MaterialModel], *, started: Mapping[str, int]) -> list[MaterialCost]:
    """Cost of every purchase; members share one, for the largest number that any of them starts, unless it is cheaper apart."""
    return [purchase for model in models for purchase in _purchases(model, started)]


def _purchases(model: MaterialModel, started: Mapping[str, int]) -> list[MaterialCost]:
    together = material_cost(model, blanks=max(started[member] for member in model.members))
    apart = [material_cost(one, blanks=max(started[member] for member in one.members)) for one in model.apart]
    return apart if apart and sum(one.amount for one in apart) <= together.amount else [together]


def bought_part_cost(part: BoughtPart, *, lenses: int) -> Decimal:
    """Lot charge and unit prices of a bought part for `lenses` started lenses."""
    return part.lot_charge + lenses * part.count * part.unit_price
