"""What a delicate glass, a bevel or a seat, or a drawing with laser light on it asks for besides the usual work."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, get_args

from services.optics.law import column, figure_of, given, law
from services.process.domain.route.delicacy import Care, Delicacy, shocked
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OPERATIONS, OperationName
from shared_schemas.rates import ExtraWorkRow, GlassRow, Rates

RESISTANCES: dict[str, str] = {
    "climate_cr": "climate class CR",
    "stain_fr": "stain class FR",
    "acid_sr": "acid class SR",
    "alkali_ar": "alkali class AR",
    "phosphate_pr": "phosphate class PR",
}
"""Classes of resistance that makers publish, small for a glass that stands much (SR 1 to 4, 5, 51 to 53)."""

Per = Literal["lot", "batch", "piece"]
PER: tuple[Per, ...] = get_args(Per)
Counts = Mapping[Literal["bevel", "seat"], int]


@dataclass(frozen=True)
class Counted:
    """A row and how often it is done on a piece, in a batch, or for the lot."""

    row: ExtraWorkRow
    count: int

    @property
    def minutes(self) -> float:
        """Minutes of them all."""
        return counted_extra_min(minutes=self.row.minutes, count=self.count)

    @property
    def counted_by(self) -> Per:
        """What its minutes are added to: those of the lot, of a batch or of a piece."""
        return self.row.per if self.row.per in ("lot", "batch") else "piece"

    def figure(self) -> Figure:
        """The minutes as a figure."""
        name, row = self.row.name, Rates.ref("extra_work", self.row)
        if self.count == 1:
            return column(name, self.minutes, "min", row)
        each = given("minutes", self.row.minutes, f"min/{self.row.per}")
        count = given("count", self.count, source="the drawing: faces with that rim")
        return figure_of(counted_extra_min, name=name, unit="min", rate_row=row, minutes=each, count=count)


@law
def counted_extra_min(*, minutes: float, count: int) -> float:
    """Minutes [min] of extra work that is done several times on a piece.

    Equation: minutes * count
    """
    return minutes * count


@dataclass(frozen=True)
class Extra:
    """The extra work of one operation: minutes of the lot, of each batch and of each piece, the power on the yield, and the care that
    the material wants.
    """

    counted: tuple[Counted, ...] = ()
    care: Care | None = None

    def minutes(self, per: Per) -> tuple[float, ...]:
        """The minutes of each row that is counted so."""
        return self._minutes[per]

    @cached_property
    def _minutes(self) -> dict[Per, tuple[float, ...]]:
        """Asked again for each tolerance that is tried."""
        return {per: tuple(one.minutes for one in self.counted if one.counted_by == per) for per in PER}

    @cached_property
    def yield_power(self) -> float:
        """The power on the yield, of all rows together and of the material."""
        power = math.prod(one.row.yield_power for one in self.counted)
        return power if self.care is None else power * self.care.yield_power

    @cached_property
    def on_minutes(self) -> float:
        """What the material makes of the usual minutes."""
        return 1.0 if self.care is None else self.care.on_minutes

    @cached_property
    def on_handling(self) -> float:
        """What the material makes of the minutes of taking a piece in and out."""
        return 1.0 if self.care is None else self.care.on_handling

    def slowed(self, minutes: Figure, *, handling: bool = False) -> Figure:
        """A figure of usual minutes, with what the material makes of it."""
        return minutes if self.care is None else self.care.slowed(minutes, handling=handling)

    def figures(self, per: Per) -> list[Figure]:
        """The figures behind the minutes of the lot, of a batch or of a piece."""
        return [one.figure() for one in self.counted if one.counted_by == per and one.minutes]

    def powers(self) -> tuple[Figure, ...]:
        """The figures behind the power on the yield."""
        rows = tuple(
            column(f"power, {one.row.name}", one.row.yield_power, "", Rates.ref("extra_work", one.row))
            for one in self.counted
            if one.row.yield_power != 1
        )
        return rows if self.care is None else (*rows, *self.care.powers())


NO_EXTRA = Extra()


@dataclass(frozen=True)
class ExtraWork:
    """The rows that an element wants, of all operations, and how delicate its material is."""

    rows: tuple[ExtraWorkRow, ...] = ()
    delicacy: Delicacy | None = None

    @cached_property
    def _usual(self) -> dict[OperationName, Extra]:
        """The extra work of each operation on a piece without bevel or seat: asked again for each tolerance that is tried."""
        return {operation: self._extra(operation, self.rows_at(operation), {}) for operation in OPERATIONS}

    @cached_property
    def _on_block(self) -> dict[tuple[OperationName, str, bool], Extra]:
        return {}

    def rows_at(self, operation: OperationName) -> tuple[ExtraWorkRow, ...]:
        """The rows of one operation."""
        return tuple(row for row in self.rows if row.operation == operation)

    def at(self, operation: OperationName, counts: Counts | None = None) -> Extra:
        """The extra work of an operation on pieces that have so many bevels and seats."""
        return self._extra(operation, self.rows_at(operation), counts) if counts else self._usual[operation]

    def _extra(self, operation: OperationName, rows: Sequence[ExtraWorkRow], counts: Counts) -> Extra:
        counted = tuple(one for one in (Counted(row, _count(row, counts)) for row in rows) if one.count)
        return Extra(counted, None if self.delicacy is None else Care(operation, self.delicacy))

    def on_face(self, operation: OperationName, method: str, *, worked_first: bool) -> Extra:
        """The extra work of blocking or deblocking by a method: a piece lies on its finished face only for the face worked second."""
        key = operation, method, worked_first
        if key not in self._on_block:
            rows = [row for row in self.rows_at(operation) if row.method in (method, "")]
            self._on_block[key] = self._extra(operation, [row for row in rows if not (worked_first and _protects(row))], {})
        return self._on_block[key]

    @property
    def for_the_glass(self) -> tuple[ExtraWorkRow, ...]:
        """The rows that are there for what the glass does not stand, and for its lead."""
        return tuple(row for row in self.rows if row.wanted_by in RESISTANCES or row.wanted_by in ("lead", "thermal_shock"))

    @property
    def for_stain_or_climate(self) -> bool:
        """Whether the glass stains or weathers by the rows that there are, so that a polished face should not wait."""
        return any(row.wanted_by in ("stain_fr", "climate_cr") for row in self.rows)


def extra_work_for(glass: GlassRow, *, laser_damage: bool, rates: Rates) -> ExtraWork:
    """The extra work that an element of a glass wants; one with a resistance that is not published does not want it for that."""
    return ExtraWork(tuple(row for row in rates.extra_work if _wanted(row, glass, laser_damage)), Delicacy(glass))


def _wanted(row: ExtraWorkRow, glass: GlassRow, laser_damage: bool) -> bool:
    if row.wanted_by in ("every", "finished_face"):
        return True
    if row.wanted_by == "lead":
        return glass.lead
    if row.wanted_by == "laser_damage":
        return laser_damage
    if row.wanted_by == "thermal_shock":
        return shocked(glass)
    resistance = getattr(glass, row.wanted_by)
    return resistance is not None and resistance >= row.from_class


def _protects(row: ExtraWorkRow) -> bool:
    """Whether a row is for the finished face that a piece lies on."""
    return row.wanted_by == "finished_face" or (row.operation == "block" and row.wanted_by in RESISTANCES)


def _count(row: ExtraWorkRow, counts: Counts) -> int:
    return counts.get(row.per, 0) if row.per in ("bevel", "seat") else 1
