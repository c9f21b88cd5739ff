"""What every row of a rate table has: a name, which is its key within the table, a source, a date, and how it was come by."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import cached_property
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import ConfigDict, Field, StringConstraints, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticCustomError

from shared_schemas.base import NO_CONTROLS, Contract, Name
from shared_schemas.figure import RateRowRef
from shared_schemas.rate_column_texts import COLUMNS

Yield = Annotated[float, Field(strict=True, gt=0, le=1)]
Said = Annotated[str, StringConstraints(min_length=1, max_length=400, strip_whitespace=True, pattern=NO_CONTROLS)]

Origin = Literal["invented", "published", "supplier", "measured", "estimated"]
"""How the figures of a row were come by: made up for a demo; printed by its maker or a standard; quoted by a supplier in a document;
measured here; or estimated, agreed or chosen here."""
ORIGINS: tuple[Origin, ...] = get_args(Origin)

ADDED_BY_RELEASE = "added by release"
"""Stands in the source of a row that a release added or filled in, until an engineer has put a source of the shop's own to it."""


TABLE_OF: dict[str, str] = {
    "GlassRow": "glasses",
    "GlassGradeRow": "glass_grades",
    "StockFormRow": "stock_forms",
    "AllowanceRow": "allowances",
    "WorkCentreRow": "work_centres",
    "GrindingRow": "grinding",
    "PolishingRow": "polishing",
    "AsphereRow": "aspheres",
    "PressedAsphereRow": "pressed_aspheres",
    "ToleranceClassRow": "tolerance_classes",
    "CoatingRow": "coatings",
    "ToolingRow": "tooling",
    "CementingRow": "cementing",
    "AssemblyRow": "assembly",
    "InspectionRow": "inspection",
    "ExtraWorkRow": "extra_work",
    "YieldRow": "yields",
    "OutsideWorkRow": "outside_work",
    "OwnOperationRow": "operations",
    "HardwareRow": "hardware",
    "MetalRow": "metals",
    "TurningRow": "turning",
    "CommercialRow": "commercial",
    "CurrencyRow": "currencies",
    "CalendarRow": "calendar",
    "ShopLoadRow": "shop_load",
}
"""The table of each shape of rows, by its name: rows know nothing of the tables that are made of them."""


def _with_meanings(schema: dict[str, Any], shape: type[Any]) -> None:
    """Say in the schema of a row what each column means, where its field does not."""
    for column, meaning in COLUMNS.get(TABLE_OF.get(shape.__name__, ""), {}).items():
        if column in schema.get("properties", {}):
            schema["properties"][column].setdefault("description", meaning)


class RateRow(Contract):
    """What every row says of itself."""

    model_config = ConfigDict(json_schema_extra=_with_meanings)

    name: Name = Field(description="Key of the row: once in its table.", examples=["polisher, block"])
    source: Said = Field(description="Where the figures come from, in words.", examples=["time study of 12 jobs in October"])
    as_of: date = Field(description="Day of the figures, year-month-day.", examples=["2026-11-02"])
    origin: Origin = Field(
        default="estimated",
        description="How the figures were come by: invented (made up for a demo), published (printed by a maker or in a standard), "
        "supplier (quoted in a document), measured (here), estimated (estimated, agreed or chosen here). Left out, it follows "
        "from the source: invented where that says so, estimated otherwise.",
        examples=["measured"],
    )
    document: Annotated[str, Field(max_length=120, pattern=NO_CONTROLS)] = Field(
        default="",
        validate_default=True,
        description="Number and date of the document that a supplier quoted in; needed where the origin is supplier.",
        examples=["quotation 4711 of 2026-10-05"],
    )

    @model_validator(mode="before")
    @classmethod
    def _origin_follows_from_the_source(cls, row: Any) -> Any:
        if isinstance(row, dict) and "origin" not in row and "invented" in str(row.get("source", "")).lower():
            return {**row, "origin": "invented"}
        return row

    @field_validator("document")
    @classmethod
    def _a_supplier_has_said_it_in_writing(cls, document: str, row: ValidationInfo) -> str:
        if not document and row.data.get("origin") == "supplier":
            remedy = "number and date of its quotation, or another origin"
            raise PydanticCustomError("fault", "a supplier's figure names its document", {"remedy": remedy})
        return document

    def named_in(self, table: str) -> RateRowRef:
        """The reference to this row as one of a table."""
        found = self._references.get(table)
        if found is None:
            found = self._references[table] = RateRowRef(table=table, row=self.name, source=self.source, as_of=self.as_of)
        return found

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy, with fields replaced; references to the old row are forgotten."""
        fresh = super().model_copy(update=update, deep=deep)
        fresh.__dict__.pop("_references", None)
        return fresh

    @cached_property
    def _references(self) -> dict[str, RateRowRef]:
        return {}
