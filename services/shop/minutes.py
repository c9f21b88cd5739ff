"""What minutes cost: the time of a machine, and the share of it that a person attends."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from services.optics.law import law
from shared_schemas.rates import WorkCentreRow

Amount = TypeVar("Amount", float, Decimal)
"""Money and minutes in decimals where they are lines of a price, in floating point where they are weighed."""

MILLION = 1_000_000
"""Minutes of a price are counted in whole millionths, so that money times minutes stays in decimals."""


@law
def minutes_cost(*, machine_min: Amount, attended_min: Amount, machine_rate_per_h: Amount, labour_rate_per_h: Amount) -> Amount:
    """Cost of minutes at a work centre [currency of the rates].

    Equation: (machine_min * machine_rate_per_h + attended_min * labour_rate_per_h) / 60
    """
    return (machine_min * machine_rate_per_h + attended_min * labour_rate_per_h) / 60


@law
def attended_min(*, setup_min: float, run_min: float, attended_share: float) -> float:
    """Minutes [min] that a person is there: all of the set-up, and a share of the run.

    Equation: setup_min + attended_share * run_min
    """
    return setup_min + attended_share * run_min


@law
def exact_minutes_cost(
    *, machine_min: float, attended_min: float, machine_rate_per_h: Decimal, labour_rate_per_h: Decimal
) -> Decimal:
    """Cost of minutes [min] at a work centre, in decimals: each to the millionth.

    Equation: (round(machine_min * 1e6, 0) * machine_rate_per_h + round(attended_min * 1e6, 0) * labour_rate_per_h) / 60e6
    """
    return (
        minutes_cost(
            machine_min=Decimal(round(machine_min * MILLION)),
            attended_min=Decimal(round(attended_min * MILLION)),
            machine_rate_per_h=machine_rate_per_h,
            labour_rate_per_h=labour_rate_per_h,
        )
        / MILLION
    )


@dataclass(frozen=True)
class PerMinute:
    """What a minute of a work centre costs by its row, in floating point: of the machine alone, and of a person there."""

    machine: float
    labour: float
    row: WorkCentreRow

    @property
    def learns(self) -> bool:
        """Whether a person's hands get faster there."""
        return self.row.learning_share < 1

    def attended(self, share: float) -> float:
        """Cost of a minute of the machine that a person attends for a share of it."""
        return self.machine + share * self.labour

    def cost(self, *, machine_min: float, attended_min: float) -> float:
        """Cost of minutes [min]."""
        return machine_min * self.machine + attended_min * self.labour


def per_minute(centre: WorkCentreRow) -> PerMinute:
    """Cost of a minute at a work centre: `minutes_cost` is linear, so one minute of each says all."""
    machine, labour = float(centre.machine_rate_per_h), float(centre.labour_rate_per_h)

    def of(machine_min: float, attended_min: float) -> float:
        return minutes_cost(
            machine_min=machine_min, attended_min=attended_min, machine_rate_per_h=machine, labour_rate_per_h=labour
        )

    return PerMinute(of(1.0, 0.0), of(0.0, 1.0), centre)
