"""What a number of starts costs: batches in whole numbers, set-ups, minutes, consumables, glass, bought parts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from shared_schemas.blanks import MaterialModel
from shared_schemas.operations import BoughtPart, Operation, Route
from shared_schemas.rates import Rates, WorkCentreRow

MILLION = 1_000_000
MILLIONTHS_PER_HOUR = Decimal(60 * MILLION)
"""Minutes are counted in whole millionths, so that money times minutes stays in decimals."""


class OperationCost(NamedTuple):
    """One line of the route card at one number of starts. Amounts in the base currency."""

    part: str
    operation: Operation
    work_centre: WorkCentreRow
    pieces: int
    batches: int
    machine_min: float
    attended_min: float
    amount: Decimal


@dataclass(frozen=True)
class MaterialCost:
    """Glass for one purchase at one number of blanks. Amount in the base currency."""

    model: MaterialModel
    blanks: int
    lots: int
    lead_days: float
    bought_mass_g: float
    amount: Decimal


def operation_costs(route: Route, *, started: int, rates: Rates) -> list[OperationCost]:
    """Cost of each operation of a route when `started` pieces are started.

    Notes:
        pieces at operation k = ceil(n y_1 … y_(k-1)); batches = ceil(pieces / batch size);
        run = batches x batch minutes + pieces x piece minutes; machine minutes = set-up + run; attended = set-up + share x run;
        amount = machine minutes x machine rate + attended minutes x labour rate + batches x consumables.
        A piece lost early costs nothing later: scrap is paid for where it is lost.
    """
    found = []
    reaching = float(started)
    for operation in route.operations:
        pieces = math.ceil(round(reaching, 9))
        found.append(_operation_cost(route.part, operation, pieces, rates))
        reaching *= operation.yield_share * (1 - operation.batch_loss)
    return found


def _operation_cost(part: str, operation: Operation, pieces: int, rates: Rates) -> OperationCost:
    centre = rates.work_centre(operation.work_centre)
    batches = math.ceil(pieces / operation.batch_size)
    run_min = batches * operation.batch_min + pieces * operation.piece_min
    machine_min = operation.setup_min + run_min
    attended_min = operation.setup_min + operation.attended_share * run_min
    minutes = round(machine_min * MILLION) * centre.machine_rate_per_h + round(attended_min * MILLION) * centre.labour_rate_per_h
    amount = minutes / MILLIONTHS_PER_HOUR + batches * operation.consumables
    return OperationCost(part, operation, centre, pieces, batches, machine_min, attended_min, amount)


def material_cost(model: MaterialModel, *, blanks: int) -> MaterialCost:
    """Cost of having `blanks` blanks of every member: the first step that is enough; past the last, lots are repeated."""
    last = model.steps[-1]
    full_lots, rest = divmod(blanks, last.blanks)
    top_up = [next(step for step in model.steps if step.blanks >= rest)] if rest else []
    bought = [last] * min(full_lots, 1) + top_up
    return MaterialCost(
        model=model,
        blanks=blanks,
        lots=full_lots + len(top_up),
        lead_days=max((step.lead_days for step in bought), default=0.0),
        bought_mass_g=full_lots * last.bought_mass_g + sum(step.bought_mass_g for step in top_up),
        amount=full_lots * last.cost + sum((step.cost for step in top_up), Decimal(0)),
    )


def material_costs(models: Sequence[MaterialModel], *, started: Mapping[str, int]) -> list[MaterialCost]:
    """Cost of every purchase; members share one, for the largest number that any of them starts."""
    return [material_cost(model, blanks=max(started[member] for member in model.members)) for model in models]


def bought_part_cost(part: BoughtPart, *, lenses: int) -> Decimal:
    """Lot charge and unit prices of a bought part for `lenses` started lenses."""
    return part.lot_charge + lenses * part.count * part.unit_price
