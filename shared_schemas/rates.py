"""Rates: the dated rows that every price, time and loss rests on, table by table, and a revision of them all.

Every row has a `name` (its key within the table), a `source` and an `as_of` date. Amounts are in the base currency, the
one whose row in `currencies` has `per_base` 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Annotated, Any, Self

from pydantic import Field

from shared_schemas.base import (
    Contract,
    Name,
    Text,
)
from shared_schemas.figure import RateRowRef
from shared_schemas.problem import Explained, OnlyWhereSaid, ProblemDetail
from shared_schemas.rate_row import ADDED_BY_RELEASE, RateRow, Said, Yield
from shared_schemas.rate_rows_of_aspheres import AsphereRow, AsphereTool, PressedAsphereRow
from shared_schemas.rate_rows_of_glass import AllowanceRow, GlassGradeRow, GlassRow, PriceStep, StockFormRow
from shared_schemas.rate_rows_of_mounts import HardwareRow, MetalRow, TurningRow
from shared_schemas.rate_rows_of_outside_work import OutsideWorkRow
from shared_schemas.rate_rows_of_own_work import OwnOperationRow, supplier_of
from shared_schemas.rate_rows_of_terms import CalendarRow, CommercialRow, CurrencyRow, MarginStep, ShopLoadRow
from shared_schemas.rate_rows_of_tolerances import ToleranceClassRow, YieldRow
from shared_schemas.rate_rows_of_work import (
    AQLS_PERCENT,
    Aql,
    AssemblyRow,
    CementingRow,
    CoatingLayer,
    CoatingRow,
    ExtraWorkRow,
    GrindingRow,
    InspectionRow,
    PolishingRow,
    ToolingRow,
    WorkCentreRow,
)

TABLES: dict[str, type[RateRow]] = {
    "glasses": GlassRow,
    "glass_grades": GlassGradeRow,
    "stock_forms": StockFormRow,
    "allowances": AllowanceRow,
    "work_centres": WorkCentreRow,
    "grinding": GrindingRow,
    "polishing": PolishingRow,
    "aspheres": AsphereRow,
    "pressed_aspheres": PressedAsphereRow,
    "tolerance_classes": ToleranceClassRow,
    "coatings": CoatingRow,
    "tooling": ToolingRow,
    "cementing": CementingRow,
    "assembly": AssemblyRow,
    "inspection": InspectionRow,
    "extra_work": ExtraWorkRow,
    "yields": YieldRow,
    "outside_work": OutsideWorkRow,
    "operations": OwnOperationRow,
    "hardware": HardwareRow,
    "metals": MetalRow,
    "turning": TurningRow,
    "commercial": CommercialRow,
    "currencies": CurrencyRow,
    "calendar": CalendarRow,
    "shop_load": ShopLoadRow,
}
"""Every rate table by name, with the shape of its rows."""


class RateMissing(Explained):
    """No row answers what was asked. A missing price is an error, never a zero."""

    def __init__(self, table: str, wanted: str, known: tuple[str, ...] = ()) -> None:
        self.table = table
        self.wanted = wanted
        self.known = known
        hint = f" It has {', '.join(known[:8])}{' …' if len(known) > 8 else ''}." if known else ""
        super().__init__(
            f"The rate table {table} has no row for {wanted}.{hint} Add the row and quote again.",
            ProblemDetail(pointer=f"/{table}", reason=f"no row for {wanted}", remedy=f"add a row for {wanted} to {table}"),
        )


class Rates(Contract):
    """All tables of one revision, as pure functions take them."""

    glasses: tuple[GlassRow, ...]
    glass_grades: tuple[GlassGradeRow, ...] = ()
    stock_forms: tuple[StockFormRow, ...]
    allowances: tuple[AllowanceRow, ...]
    work_centres: tuple[WorkCentreRow, ...]
    grinding: tuple[GrindingRow, ...]
    polishing: tuple[PolishingRow, ...]
    aspheres: tuple[AsphereRow, ...] = ()
    pressed_aspheres: tuple[PressedAsphereRow, ...] = ()
    tolerance_classes: tuple[ToleranceClassRow, ...]
    coatings: tuple[CoatingRow, ...]
    tooling: tuple[ToolingRow, ...]
    cementing: tuple[CementingRow, ...]
    assembly: tuple[AssemblyRow, ...]
    inspection: tuple[InspectionRow, ...]
    extra_work: tuple[ExtraWorkRow, ...] = ()
    yields: tuple[YieldRow, ...]
    outside_work: tuple[OutsideWorkRow, ...] = ()
    operations: tuple[OwnOperationRow, ...] = ()
    hardware: tuple[HardwareRow, ...]
    metals: tuple[MetalRow, ...] = ()
    turning: tuple[TurningRow, ...] = ()
    commercial: tuple[CommercialRow, ...]
    currencies: tuple[CurrencyRow, ...]
    calendar: tuple[CalendarRow, ...]
    shop_load: tuple[ShopLoadRow, ...]

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy, with tables replaced; what was looked up in the old tables is forgotten."""
        fresh = super().model_copy(update=update, deep=deep)
        for looked_up in ("_rows_by_name", "base_currency", "in_order", "added_by_release", "places_of_work", "usual_load"):
            fresh.__dict__.pop(looked_up, None)
        return fresh

    @cached_property
    def in_order(self) -> Rates:
        """The same rates, the rows of every table in the order of their names: what is worked out does not depend on how they were listed."""
        tables = {table: tuple(sorted(getattr(self, table), key=lambda row: row.name)) for table in TABLES}
        moved = {table: rows for table, rows in tables.items() if rows != getattr(self, table)}
        return self.model_copy(update=moved) if moved else self

    @cached_property
    def _rows_by_name(self) -> dict[str, dict[str, Any]]:
        rows = {table: {row.name: row for row in getattr(self, table)} for table in TABLES}
        return {**rows, "work_centres": {row.name: row for row in self.places_of_work}}

    @cached_property
    def places_of_work(self) -> tuple[WorkCentreRow, ...]:
        """The work centres, and the suppliers of the shop's own steps as work centres at which nobody waits."""
        suppliers = {row.supplier: supplier_of(row) for row in self.operations if row.supplier}
        return (*self.work_centres, *suppliers.values())

    def place_of(self, row: OwnOperationRow) -> WorkCentreRow:
        """Where a step of the shop's own is done: at the work centre of its id or name, or by its supplier; raises `RateMissing`."""
        by_id = next((centre for centre in self.work_centres if centre.id == row.work_centre), None)
        if row.work_centre and by_id is not None:
            return by_id
        return self.work_centre(row.work_centre or f"outside: {row.supplier}")

    @cached_property
    def usual_load(self) -> dict[str, ShopLoadRow]:
        """How busy each work centre usually is, by its name; its row of `shop_load` has its id or its name."""
        rows = {row.name: row for row in self.shop_load}
        found = ((centre.name, rows.get(centre.id) or rows.get(centre.name)) for centre in self.work_centres)
        return {name: row for name, row in found if row is not None}

    def _row(self, table: str, name: str) -> Any:
        rows = self._rows_by_name[table]
        if name not in rows:
            raise RateMissing(table, name, tuple(rows))
        return rows[name]

    def row(self, table: str, name: str) -> RateRow | None:
        """The row of that name, `None` where the table has it not or there is no such table."""
        found: RateRow | None = self._rows_by_name.get(table, {}).get(name)
        return found

    def glass(self, name: str) -> GlassRow:
        """The glass of that catalogue name; raises `RateMissing`."""
        row: GlassRow = self._row("glasses", name)
        return row

    def stock_form(self, name: str) -> StockFormRow:
        """The form of stock of that name; raises `RateMissing`."""
        row: StockFormRow = self._row("stock_forms", name)
        return row

    def work_centre(self, name: str) -> WorkCentreRow:
        """The work centre of that name; raises `RateMissing`."""
        row: WorkCentreRow = self._row("work_centres", name)
        return row

    def coating(self, name: str) -> CoatingRow:
        """The coating of that name; raises `RateMissing`."""
        row: CoatingRow = self._row("coatings", name)
        return row

    def metal(self, name: str) -> MetalRow:
        """The metal of that name; raises `RateMissing`."""
        row: MetalRow = self._row("metals", name)
        return row

    def terms(self, customer_class: str) -> CommercialRow:
        """The commercial terms of that class of customer; raises `RateMissing`."""
        row: CommercialRow = self._row("commercial", customer_class)
        return row

    def currency(self, code: str) -> CurrencyRow:
        """The currency of that ISO 4217 code; raises `RateMissing`."""
        row: CurrencyRow = self._row("currencies", code)
        return row

    @cached_property
    def base_currency(self) -> str:
        """ISO 4217 code of the currency that every amount in the tables is in; raises `RateMissing`."""
        for row in self.currencies:
            if row.per_base == 1:
                return row.name
        raise RateMissing("currencies", "the base currency (per_base 1)", tuple(row.name for row in self.currencies))

    @cached_property
    def added_by_release(self) -> bool:
        """Whether a row of any table stands as a release added it."""
        return any(ADDED_BY_RELEASE in row.source for table in TABLES for row in getattr(self, table))

    @staticmethod
    def ref(table: str, row: RateRow) -> RateRowRef:
        """The reference by which a figure names the row it rests on; made once for each row, as thousands of figures ask for it."""
        return row.named_in(table)


@dataclass(frozen=True, eq=False)
class InForce:
    """Rates told apart by identity, to remember by: a worker keeps one object for each revision, and to compare thousands of rows
    takes longer than most of what is looked up."""

    rates: Rates

    def __eq__(self, other: object) -> bool:
        return isinstance(other, InForce) and other.rates is self.rates

    def __hash__(self) -> int:
        return id(self.rates)


class RateRevision(Contract):
    """An immutable set of all tables. `digest` is the SHA-256 of its rows in canonical JSON.

    One that is only proposed and never in force has a `number` below zero.
    """

    number: int
    digest: str
    created_at: datetime
    created_by: str
    reason: Text
    rates: Rates


class RevisionSummary(Contract):
    """A revision without its rows; `changed` names the tables that differ from the one before.

    `created_by_key` is the id of the key that published it, `draft` the draft that it was.
    """

    number: int
    digest: str
    created_at: datetime
    created_by: str
    reason: Text
    changed: tuple[str, ...]
    created_by_key: Annotated[str | None, OnlyWhereSaid] = None
    draft: Annotated[int | None, OnlyWhereSaid] = None


class RevisionList(Contract):
    """A page of revisions, newest first."""

    items: tuple[RevisionSummary, ...]
    next: str | None = None


class TablePage(Contract):
    """One table as it stands in a revision; each row has the shape that `TABLES` gives for the table.

    After a change, `dropped` names the rows that it had before and has no longer.
    """

    table: Name
    revision: int
    rows: tuple[dict[str, Any], ...]
    dropped: tuple[str, ...] = ()


class ProposedRows(Contract):
    """All rows that a table would have."""

    rows: Annotated[tuple[dict[str, Any], ...], Field(min_length=1, max_length=5000)]


class TableUpdate(ProposedRows):
    """What an engineer sends to replace a table; becomes the next revision. `confirm` has the codes of second looks that are meant so."""

    reason: Said
    confirm: Annotated[tuple[Annotated[str, Field(max_length=200)], ...], Field(max_length=1000)] = ()


__all__ = [
    "AQLS_PERCENT",
    "AllowanceRow",
    "Aql",
    "AsphereRow",
    "AsphereTool",
    "AssemblyRow",
    "CalendarRow",
    "CementingRow",
    "CoatingLayer",
    "CoatingRow",
    "CommercialRow",
    "CurrencyRow",
    "ExtraWorkRow",
    "GlassGradeRow",
    "GlassRow",
    "GrindingRow",
    "HardwareRow",
    "InspectionRow",
    "MarginStep",
    "MetalRow",
    "OutsideWorkRow",
    "OwnOperationRow",
    "PolishingRow",
    "PressedAsphereRow",
    "PriceStep",
    "ProposedRows",
    "RateMissing",
    "RateRevision",
    "RateRow",
    "Rates",
    "RevisionList",
    "RevisionSummary",
    "Said",
    "ShopLoadRow",
    "StockFormRow",
    "TablePage",
    "TableUpdate",
    "ToleranceClassRow",
    "ToolingRow",
    "TurningRow",
    "WorkCentreRow",
    "Yield",
    "YieldRow",
]
