"""What a delicate glass, a bevel or a seat, or a drawing with laser light on it asks for besides the usual work."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import ExtraWorkRow, GlassRow, Rates

RESISTANCES: dict[str, str] = {
    "climate_cr": "climate class CR",
    "stain_fr": "stain class FR",
    "acid_sr": "acid class SR",
    "alkali_ar": "alkali class AR",
    "phosphate_pr": "phosphate class PR",
}
"""Classes of resistance that makers publish, small for a glass that stands much (SR 1 to 4, 5, 51 to 53)."""

Counts = Mapping[Literal["bevel", "seat"], int]


@dataclass(frozen=True)
class Counted:
    """A row and how often it is done on a piece, in a batch, or for the lot."""

    row: ExtraWorkRow
    count: int

    @property
    def minutes(self) -> float:
        """Minutes of them all."""
        return self.row.minutes * self.count

    def figure(self) -> Figure:
        """The minutes as a figure."""
        row = Rates.ref("extra_work", self.row)
        if self.count == 1:
            return Figure(name=self.row.name, value=self.minutes, unit="min", formula=f"minutes, per {self.row.per}", rate_row=row)
        each = Figure(name="minutes", value=self.row.minutes, unit=f"min/{self.row.per}", source="same row")
        return Figure(
            name=self.row.name, value=self.minutes, unit="min", formula=f"minutes x {self.count}", inputs=(each,), rate_row=row
        )


@dataclass(frozen=True)
class Extra:
    """The extra work of one operation: minutes of the lot, of each batch and of each piece, and the power on the yield."""

    counted: tuple[Counted, ...] = ()
    lot_min: float = 0.0
    batch_min: float = 0.0
    piece_min: float = 0.0
    yield_power: float = 1.0

    def basis(self) -> tuple[Figure, ...]:
        """The figures behind the minutes of batches and pieces."""
        return tuple(one.figure() for one in self.counted if one.row.per != "lot" and one.minutes)

    def of_lot(self) -> tuple[Figure, ...]:
        """The figures behind the minutes of the lot."""
        return tuple(one.figure() for one in self.counted if one.row.per == "lot" and one.minutes)

    def powers(self) -> tuple[Figure, ...]:
        """The figures behind the power on the yield."""
        return tuple(
            Figure(name=f"power, {one.row.name}", value=one.row.yield_power, rate_row=Rates.ref("extra_work", one.row))
            for one in self.counted
            if one.row.yield_power != 1
        )


NO_EXTRA = Extra()


@dataclass(frozen=True)
class ExtraWork:
    """The rows that an element wants, of all operations."""

    rows: tuple[ExtraWorkRow, ...] = ()

    @cached_property
    def _usual(self) -> dict[OperationName, Extra]:
        """The extra work of each operation on a piece without bevel or seat: asked again for each tolerance that is tried."""
        return {operation: _extra(self.rows_at(operation), {}) for operation in {row.operation for row in self.rows}}

    def rows_at(self, operation: OperationName) -> tuple[ExtraWorkRow, ...]:
        """The rows of one operation."""
        return tuple(row for row in self.rows if row.operation == operation)

    def at(self, operation: OperationName, counts: Counts | None = None) -> Extra:
        """The extra work of an operation on pieces that have so many bevels and seats."""
        return _extra(self.rows_at(operation), counts) if counts else self._usual.get(operation, NO_EXTRA)

    @property
    def for_the_glass(self) -> tuple[ExtraWorkRow, ...]:
        """The rows that are there for what the glass does not stand, and for its lead."""
        return tuple(row for row in self.rows if row.wanted_by in RESISTANCES or row.wanted_by == "lead")

    @property
    def for_stain_or_climate(self) -> bool:
        """Whether the glass stains or weathers by the rows that there are, so that a polished face should not wait."""
        return any(row.wanted_by in ("stain_fr", "climate_cr") for row in self.rows)


def extra_work_for(glass: GlassRow, *, laser_damage: bool, rates: Rates) -> ExtraWork:
    """The extra work that an element of a glass wants; one with a resistance that is not published does not want it for that."""
    return ExtraWork(tuple(row for row in rates.extra_work if _wanted(row, glass, laser_damage)))


def _wanted(row: ExtraWorkRow, glass: GlassRow, laser_damage: bool) -> bool:
    if row.wanted_by == "every":
        return True
    if row.wanted_by == "lead":
        return glass.lead
    if row.wanted_by == "laser_damage":
        return laser_damage
    resistance = getattr(glass, row.wanted_by)
    return resistance is not None and resistance >= row.from_class


def _extra(rows: Sequence[ExtraWorkRow], counts: Counts) -> Extra:
    found = tuple(one for one in (Counted(row, _count(row, counts)) for row in rows) if one.count)
    return Extra(
        counted=found,
        lot_min=sum(one.minutes for one in found if one.row.per == "lot"),
        batch_min=sum(one.minutes for one in found if one.row.per == "batch"),
        piece_min=sum(one.minutes for one in found if one.row.per not in ("lot", "batch")),
        yield_power=math.prod(one.row.yield_power for one in found),
    )


def _count(row: ExtraWorkRow, counts: Counts) -> int:
    return counts.get(row.per, 0) if row.per in ("bevel", "seat") else 1
