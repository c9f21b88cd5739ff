"""What could go wrong, in money: ten thousand ways that one quantity may turn out.

A Latin hypercube: of each thing that is uncertain every ten-thousandth of its distribution is drawn once, in an order of its
own. All quotes are drawn with the same orders, so that they differ by what they are and not by chance.
Source: M. D. McKay, R. J. Beckman, W. J. Conover (1979), from memory.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Literal

import numpy as np

from services.optics.law import law
from services.quoting.costs.cost import MaterialCost, OperationCost
from services.quoting.costs.money import exact
from services.quoting.costs.rework import batches_scrapped_by, kept_by
from services.quoting.risk.orders import DRAWS, Orders
from services.quoting.risk.outcomes import Outcomes
from services.shop.minutes import per_minute
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import Operation
from shared_schemas.quote import RiskDriver
from shared_schemas.rates import WorkCentreRow

DRIVERS_SHOWN = 3


@dataclass(frozen=True)
class Causes:
    """Share of each operation of a route in its single losses, and in its batch losses."""

    single: tuple[float, ...]
    batch: tuple[float, ...]


def causes_of(operations: Sequence[Operation]) -> Causes:
    """Single losses count as ln(1 / yield), batch losses as batch size x batch loss; a batch of one is a single loss."""
    single, batch = [], []
    for operation in operations:
        alone = operation.batch_size == 1
        scrapped = batches_scrapped_by(operation)
        single.append(-math.log(kept_by(operation) * (1 - scrapped if alone else 1.0)))
        batch.append(0.0 if alone else operation.batch_size * scrapped)
    return Causes(_as_shares(single), _as_shares(batch))


def _as_shares(values: Sequence[float]) -> tuple[float, ...]:
    whole = sum(values)
    return tuple(value / whole for value in values) if whole > 0 else tuple(values)


@dataclass(frozen=True)
class Uncertain:
    """What one quantity is drawn from: its planned cost in the base currency and where it may go elsewhere.

    How far minutes go is said by the row of the work centre, how far glass prices go (`glass_variation`) by the terms.
    """

    planned: float
    operations: Mapping[str, Sequence[OperationCost]]
    materials: Sequence[MaterialCost]
    parts: Mapping[str, Outcomes]
    causes: Mapping[str, Causes]
    glass_variation: float

    @cached_property
    def minutes(self) -> dict[str, tuple[float, ...]]:
        """What the minutes of each operation of a part cost, without consumables."""
        rates = {centre.name: per_minute(centre) for centre in self.centres.values()}
        return {
            part: tuple(
                rates[cost.work_centre.name].cost(machine_min=cost.machine_min, attended_min=cost.attended_min) for cost in costs
            )
            for part, costs in self.operations.items()
        }

    @cached_property
    def centres(self) -> dict[str, WorkCentreRow]:
        """The work centres that the parts go to, by name."""
        return {cost.work_centre.name: cost.work_centre for costs in self.operations.values() for cost in costs}

    @cached_property
    def by_centre(self) -> dict[str, float]:
        """What the minutes of each work centre cost."""
        amounts: dict[str, float] = defaultdict(float)
        for part, costs in self.operations.items():
            for cost, amount in zip(costs, self.minutes[part], strict=True):
                amounts[cost.work_centre.name] += amount
        return amounts

    @cached_property
    def minutes_variation(self) -> dict[str, float]:
        """How far the minutes of each work centre go: the standard deviation as a share of those planned."""
        return {name: centre.minutes_variation for name, centre in self.centres.items()}

    @cached_property
    def by_glass(self) -> dict[str, float]:
        """What each glass costs."""
        amounts: dict[str, float] = defaultdict(float)
        for material in self.materials:
            amounts[material.model.glass] += float(material.amount)
        return amounts

    @property
    def mean(self) -> float:
        """Expected cost: the planned one, and that of making again what is missing."""
        return self.planned + sum(part.mean_cost for part in self.parts.values())

    @property
    def variance(self) -> float:
        """Variance of the cost; what is drawn is independent, so that variances add up."""
        minutes = [variance_of(amount=amount, variation=self.minutes_variation[name]) for name, amount in self.by_centre.items()]
        glass = [variance_of(amount=amount, variation=self.glass_variation) for amount in self.by_glass.values()]
        return whole_variance(variances=[*minutes, *glass, self.variance_of_losses])

    @property
    def variance_of_losses(self) -> float:
        """Variance of what lost pieces and batches cost beyond the plan."""
        return sum(part.from_batches + part.from_pieces for part in self.parts.values())


@law
def variance_of(*, amount: float, variation: float) -> float:
    """Variance of an amount that goes as far as a coefficient of variation says.

    Equation: (amount * variation)**2
    """
    return (amount * variation) ** 2


@law
def whole_variance(*, variances: Sequence[float]) -> float:
    """Variance of a cost whose parts are uncertain independently of each other.

    Equation: sum(variances)
    """
    return sum(variances)


@law
def unit_cost_spread(*, variance: float, quantity: int, per_base: float) -> float:
    """Standard deviation of the cost of one lens, in another currency than the base.

    Equation: sqrt(variance) / quantity * per_base
    """
    return math.sqrt(variance) / quantity * per_base


@law
def share_of_variance(*, part: float, whole: float) -> float:
    """Share that one cause has in the variance of the cost.

    Equation: round(part / whole, 4)
    """
    return round(part / whole, 4)


@law
def spares_worth(*, spares: float, worth_each: float) -> Decimal:
    """What the good pieces beyond the order have cost, to the millionth.

    Equation: round(spares * worth_each, 6)
    """
    return exact(spares * worth_each)


def draws(uncertain: Uncertain, orders: Orders) -> np.ndarray:
    """Costs of the whole quantity in the base currency, shape (10 000,).

    Notes:
        cost = planned + sum over work centres of minutes x (f - 1) + sum over glasses of price x (f - 1) + what each part
        costs beyond the plan. A work centre's minutes are wrong for all parts together, as they rest on one rate row; f is
        log-normal. Pieces and batches are drawn by part. What two of them do together is left out as small.
    """
    costs = np.full(DRAWS, uncertain.planned - sum(uncertain.by_centre.values()) - sum(uncertain.by_glass.values()))
    scratch = np.empty(DRAWS)
    for centre, amount in uncertain.by_centre.items():
        costs += np.multiply(orders.factors(f"minutes of {centre}", uncertain.minutes_variation[centre]), amount, out=scratch)
    for glass, amount in uncertain.by_glass.items():
        costs += np.multiply(orders.factors(f"price of {glass}", uncertain.glass_variation), amount, out=scratch)
    for part, outcome in uncertain.parts.items():
        costs += np.take(as_drawn(outcome.chance, outcome.cost), orders.of(f"losses of {part}"), out=scratch, mode="clip")
    return costs


def as_drawn(chances: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Each value as often among the draws as its chance says, shape (10 000,)."""
    return np.repeat(values, np.diff(edges_of(chances), prepend=0))


def edges_of(chances: np.ndarray) -> np.ndarray:
    """After which draw each of several chances, which have the sum 1, ends; never falling, the last one after all draws."""
    edges: np.ndarray = np.rint(np.cumsum(chances) * DRAWS).astype(int)
    edges[-1] = DRAWS
    return edges


@dataclass(frozen=True)
class Risk:
    """Costs of the whole quantity that half, four fifths and nineteen of twenty draws stay below, and the chance of a loss."""

    p50: float
    p80: float
    p95: float
    loss_chance: float
    costs: np.ndarray

    def p80_of(self, chosen: np.ndarray) -> float | None:
        """The cost that four fifths of some of the draws of a date stay below, shape (1 000,) of yes or no; `None` of none."""
        costs = self.costs[: len(chosen)][chosen]
        return float(np.partition(costs, place := math.ceil(0.8 * len(costs)) - 1)[place]) if len(costs) else None


def risk_of(uncertain: Uncertain, orders: Orders, *, price: float) -> Risk:
    """Points of the cost, and the share of draws above `price`, both in the base currency."""
    places = [math.ceil(share * DRAWS) - 1 for share in (0.5, 0.8, 0.95)]
    costs = draws(uncertain, orders)
    above = int(np.count_nonzero(costs > price))
    p50, p80, p95 = (float(cost) for cost in np.partition(costs, places)[places])
    return Risk(p50, p80, p95, above / DRAWS, costs)


def variances_by_cause(uncertain: Uncertain) -> dict[OperationName | Literal["glass price"], dict[str, float]]:
    """The variance of the cost by operation (or the glass prices), and of it that of each part, or of each glass.

    Notes:
        Minutes: the covariance of an operation's cost with all work of its work centre. The losses of a part go to
        its operations by their causes. All together are the whole variance.
    """
    variances: dict[OperationName | Literal["glass price"], dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for part, costs in uncertain.operations.items():
        causes, outcome = uncertain.causes[part], uncertain.parts[part]
        for cost, minutes, single, batch in zip(costs, uncertain.minutes[part], causes.single, causes.batch, strict=True):
            variances[cost.operation.operation][part] += (
                minutes * uncertain.by_centre[cost.work_centre.name] * cost.work_centre.minutes_variation**2
                + single * outcome.from_pieces
                + batch * outcome.from_batches
            )
    for glass, amount in uncertain.by_glass.items():
        variances["glass price"][glass] += variance_of(amount=amount, variation=uncertain.glass_variation)
    return variances


def drivers(uncertain: Uncertain) -> tuple[RiskDriver, ...]:
    """The three operations (or the glass prices) with the largest shares of the variance, largest first."""
    whole = uncertain.variance
    if whole <= 0:
        return ()
    shares = [
        RiskDriver(
            operation=name,
            part=max(parts, key=lambda one: parts[one]),
            share=share_of_variance(part=sum(parts.values()), whole=whole),
        )
        for name, parts in variances_by_cause(uncertain).items()
    ]
    return tuple(sorted(shares, key=lambda one: -one.share)[:DRIVERS_SHOWN])
