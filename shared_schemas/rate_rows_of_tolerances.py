"""Rows of the tables of tolerances and losses: how time and yield answer to a tolerance, what survives, and what can be mended."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from shared_schemas.base import Fault, Name, NonNegative, Positive, Share, refuse_if_any
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rate_row import RateRow

STEEPEST = 2.9
"""A cost that rises with this power of a tolerance rises by less than 3 % where the tolerance is 1 % tighter: 0.99 ** -2.9 = 1.0296."""


class ToleranceClassRow(RateRow):
    """How time and yield answer to one tolerance.

    The figures of three classes, loosest first; beyond `capability` the shop says no. Below the knee t_k a tolerance t weighs
    x = (t_k/t) ** ramp_power - 1: the operations named take (1 + strength time_slope x) ** strength_power as long, and their yields
    are raised to the power 1 + yield_slope x. `time_shares` says which share of the minutes of each operation grows so, in the order of
    `operations`; all of it where there are none.
    """

    attribute: Literal[
        "irregularity", "power", "imperfection_grade", "roughness", "micro_defects", "centring", "diameter", "centre_thickness"
    ]
    unit: Name
    commercial: Positive
    precision: Positive
    high_precision: Positive
    capability: Positive
    knee: Positive
    time_slope: NonNegative
    yield_slope: NonNegative
    operations: Annotated[tuple[OperationName, ...], Field(min_length=1)]
    ramp_power: Annotated[float, Field(strict=True, gt=0, le=STEEPEST)] = 1.0
    strength: NonNegative = 1.0
    strength_power: Annotated[float, Field(strict=True, gt=0, le=STEEPEST)] = 1.0
    time_shares: tuple[Share, ...] = ()

    @model_validator(mode="after")
    def _a_share_for_each_operation(self) -> ToleranceClassRow:
        if self.time_shares and len(self.time_shares) != len(self.operations):
            reason, limit = "one share for each of the operations", len(self.operations)
            refuse_if_any(
                self,
                [Fault("time_shares", reason=reason, figure=len(self.time_shares), limit=limit, remedy=f"{limit} shares, or none")],
            )
        return self

    def time_share(self, operation: OperationName) -> float:
        """Share of the minutes of one of the operations named that the tolerance slows."""
        return self.time_shares[self.operations.index(operation)] if self.time_shares else 1.0


class YieldRow(RateRow):
    """What survives an operation at the knee of its tolerances, how often a whole batch is lost together, and what can be mended.

    Of the pieces that do not pass, `rework_share` are reworked once, and `rework_yield` of those are good then. A piece takes
    `rework_min` for that, and `rework_of_operation` times the minutes that the operation took for it.
    """

    operation: OperationName
    method: Annotated[str, Field(max_length=40)] = ""
    yield_share: Annotated[float, Field(alias="yield", strict=True, gt=0, le=1)]
    batch_loss: Annotated[float, Field(strict=True, ge=0, lt=1)] = 0.0
    rework_share: Share = 0.0
    rework_yield: Share = 0.0
    rework_min: NonNegative = 0.0
    rework_of_operation: Annotated[float, Field(strict=True, ge=0, le=20)] = 0.0
