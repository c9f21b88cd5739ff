"""What pieces of a part cost near enough for weighing risks: in floating point, as nothing here is a line of a price."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from services.quoting.costs.cost import material_costs
from services.quoting.costs.learning import NOTHING_LEARNED, Learning, learning_of
from services.quoting.costs.rework import batches_scrapped_by, kept_by, rework_min_each
from services.quoting.risk.losses import Losses
from services.shop.minutes import per_minute
from shared_schemas.blanks import MaterialModel
from shared_schemas.operations import BoughtPart, Operation, Route
from shared_schemas.rates import Rates

CURVE_NUMBERS = np.unique(np.rint(np.geomspace(1, 1_000_000, 60)))


@dataclass(frozen=True)
class Step:
    """One operation in money of the base currency: the share of started pieces that reaches it, and what they cost there.

    `hand` is what a piece costs in handwork that gets faster, as long as nothing is learned.
    """

    reach: float
    batch_size: int
    setup: float
    batch: float
    piece: float
    hand: float = 0.0
    learning: Learning = NOTHING_LEARNED

    @property
    def each(self) -> float:
        """Cost of one piece more there, its share of a batch included, before anything is learned."""
        return self.batch / self.batch_size + self.piece + self.hand

    def each_after(self, started: float) -> float:
        """Cost of one piece more there in a lot of so many started pieces."""
        learned = self.hand * (1 - self.learning.unit(started * self.reach)) if self.hand else 0.0
        return self.each - learned


@dataclass(frozen=True)
class Curve:
    """Cost over the number started, for reading between; arrays of shape (k,)."""

    number: np.ndarray
    cost: np.ndarray


@dataclass(frozen=True)
class Worth:
    """What a part costs: `inputs` is what goes into one started piece; `value` is the cost of one more good piece."""

    steps: tuple[Step, ...]
    inputs: float
    value: float
    good_share: float = 1.0

    def lot(self, started: int) -> float:
        """Cost of a lot of so many started pieces, set-ups and whole batches included; the mean of pieces at each operation."""
        if started not in self._lots:
            self._lots[started] = started * self.inputs + sum(
                step.setup + math.ceil(started * step.reach / step.batch_size - 1e-9) * step.batch + started * step.reach * step.piece
                for step in self.steps
            ) + sum(step.hand * step.learning.total(math.ceil(started * step.reach - 1e-9)) for step in self.handwork)  # fmt: skip
        return self._lots[started]

    @cached_property
    def _lots(self) -> dict[int, float]:
        """Lots worked out before: every relaxation of a part weighs much the same numbers."""
        return {}

    @cached_property
    def in_batches(self) -> tuple[Step, ...]:
        """The operations at which several pieces go together."""
        return tuple(step for step in self.steps if step.batch_size > 1)

    @cached_property
    def handwork(self) -> tuple[Step, ...]:
        """The operations that get faster."""
        return tuple(step for step in self.steps if step.hand)

    @cached_property
    def again(self) -> Curve:
        """What a lot costs that makes good what is missing, read between 60 numbers: a lot is not less than one batch."""
        number = CURVE_NUMBERS
        cost = number * self.inputs
        for step in self.steps:
            through = number * step.reach
            cost = cost + step.setup + np.maximum(through / step.batch_size, 1.0) * step.batch + through * step.piece
        for step in self.handwork:
            cost = cost + step.hand * step.learning.totals(number * step.reach)
        return Curve(number, cost)

    @cached_property
    def own_each(self) -> float:
        """Cost of the operations of one started piece, without what goes into it."""
        return sum(step.reach * step.each for step in self.steps)

    @cached_property
    def own(self) -> Worth:
        """The same part with what goes into it left out."""
        return replace(self, inputs=0.0, value=self.own_each / self.good_share)

    @cached_property
    def each(self) -> float:
        """Cost of one started piece more that begins no batch."""
        return self.inputs + sum(step.reach * (step.piece + step.hand) for step in self.steps)

    def spread_by_piece(self, losses: Losses, *, started: int) -> float:
        """How much dearer a lot gets for each good piece that comes out beyond the mean: it has cost all operations.

        Notes:
            sum of cost_k x (1 - R_k) / (1 - Y), R_k being the share that reaches operation k: the regression of the pieces
            at k on the good ones when each is lost by itself. Source: derived.
        """
        lost = 1 - losses.mean_yield
        if lost <= 0:
            return 0.0
        learned = sum((step.each - step.each_after(started)) * (1 - step.reach) for step in self.handwork)
        return (self._spread - learned) / lost

    @cached_property
    def _spread(self) -> float:
        return sum(step.each * (1 - step.reach) for step in self.steps)


def worth_of(operations: Sequence[Operation], *, inputs: float, rates: Rates) -> Worth:
    """Worth of a part whose started pieces each take `inputs` of glass or parts.

    Notes:
        A part is taken by itself: its pieces share no run with others, and what only a sample is looked at for counts for
        each piece. The cost of a lot with sampled inspection comes out up to three hundredths too high.
    """
    steps = []
    reach = 1.0
    for operation in operations:
        centre = rates.work_centre(operation.work_centre)
        minute = per_minute(centre)
        busy = minute.attended(operation.attended_share)
        learning = learning_of(operation, centre)
        by_hand = learning is not NOTHING_LEARNED
        steps.append(
            Step(
                reach=reach,
                batch_size=operation.batch_size,
                setup=operation.setup_min * minute.attended(1.0) + float(operation.lot_charge),
                batch=(0.0 if by_hand else operation.batch_min * busy) + float(operation.consumables),
                piece=(0.0 if by_hand else operation.piece_min * busy) + rework_min_each(operation) * minute.attended(1.0),
                hand=(operation.batch_min + operation.piece_min) * busy if by_hand else 0.0,
                learning=learning,
            )
        )
        reach *= kept_by(operation) * (1 - batches_scrapped_by(operation))
    return Worth(tuple(steps), inputs, (inputs + sum(step.reach * step.each for step in steps)) / reach, reach)


GLASS_FOR = 100
"""Blanks in a purchase by which the glass of one is weighed, whatever is asked for (common practice range)."""


def glass_for_one(materials: Sequence[MaterialModel]) -> dict[str, float]:
    """Cost of the glass of one blank of each element, in a purchase of a hundred."""
    started = {member: GLASS_FOR for model in materials for member in model.members}
    return {
        member: float(bought.amount) / GLASS_FOR / len(bought.model.members)
        for bought in material_costs(materials, started=started)
        for member in bought.model.members
    }


def worths_of(
    *, routes: Sequence[Route], materials: Sequence[MaterialModel], bought_parts: Sequence[BoughtPart], rates: Rates
) -> dict[str, Worth]:
    """Worth of every part; what a part consumes counts at the cost of one more of it."""
    glass = glass_for_one(materials)
    worths: dict[str, Worth] = {}
    for route in routes:
        inputs = glass.get(route.part, 0.0) + sum(worths[one.part].value * one.count for one in route.consumes)
        if route is routes[-1]:
            inputs += sum(float(part.unit_price) * part.count for part in bought_parts)
        worths[route.part] = worth_of(route.operations, inputs=inputs, rates=rates)
    return worths
