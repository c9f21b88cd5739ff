"""Rows of the table of operations: steps of the shop's own that no other table knows, at a bench of its own or at a supplier's."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field, model_validator

from shared_schemas.base import Fault, NonNegative, NonNegativeMoney, Positive, Share, refuse_if_any
from shared_schemas.figure import RateRowRef
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rate_row import RateRow, Yield
from shared_schemas.rate_rows_of_work import WorkCentreRow

DoneOn = Literal["blank", "face", "element", "doublet", "assembly"]
"""What a step is done to: each blank, each face, each element, each cemented group, each lens in its mount; after packing each lens, in a
mount or not."""

WantedBy = Literal["always", "asked", "coated", "cemented", "form", "centring", "imperfections"]
"""When a step is done: always; where a quote asks for it by its name; where a face is coated, or the element is cemented; or where
the form [fringe], the centring [arcmin] or the imperfections [grade, mm] have to be `finer_than` a figure or as fine."""

FINER: tuple[WantedBy, ...] = ("form", "centring", "imperfections")

PLACES: Mapping[DoneOn, tuple[OperationName, ...]] = {
    "blank": ("saw", "core", "press_blank"),
    "face": ("polish", "coat"),
    "element": ("polish", "centre", "bevel", "inspect", "coat", "blacken_edge"),
    "doublet": ("cement", "inspect"),
    "assembly": ("assemble", "align", "final_test", "pack"),
}
"""After which operations a step may come, by what it is done to."""

MANY_AT_ONCE = 1000
"""Jobs that a supplier has in hand at once: those of one order are never in one another's way."""


class OwnOperationRow(RateRow):
    """A step of the shop's own (`name`), such as a leak test or black paint by hand.

    It comes after the operation `after` of what it is done `on`, and stands in the route where that is left out. It is done at the
    `work_centre` (its id or its name) in `setup_min` and `minutes_each`, of which a person attends `attended_share`, or by a `supplier`;
    either may cost `lot_charge` and `piece_charge` besides, and what was begun rests or is away for `wait_days` calendar days.
    Of the pieces `yield_share` are good. `wanted_by` says when it is done.
    """

    on: DoneOn = Field(description="What it is done to, each of them.", examples=["assembly"])
    after: OperationName = Field(description="The operation that it comes after.", examples=["final_test"])
    sequence: Annotated[int, Field(strict=True, ge=1, le=99)] = Field(
        default=1, description="Of several steps at one place the lower comes first.", examples=[1]
    )
    wanted_by: WantedBy = Field(
        default="asked",
        description="When it is done: always; asked for by its name in `own_operations` of a quote; where a face is coated; where the "
        "element is cemented; where form, centring or imperfections have to be as fine as `finer_than`.",
        examples=["asked"],
    )
    finer_than: Positive | None = Field(
        default=None,
        description="Form [fringe], centring [arcmin] or grade of imperfections [mm] from which on it is wanted.",
        examples=[0.5],
    )
    work_centre: Annotated[str, Field(max_length=60)] = Field(
        default="",
        description="Where it is done, by the id or the name of a row of work_centres; empty for a supplier.",
        examples=["test-bench"],
    )
    supplier: Annotated[str, Field(max_length=50)] = Field(
        default="", description="Who does it outside; empty for a work centre.", examples=["plating house"]
    )
    setup_min: NonNegative = Field(default=0.0, description="Minutes for the lot [min].", examples=[20.0])
    minutes_each: NonNegative = Field(default=0.0, description="Minutes for each piece [min].", examples=[6.0])
    attended_share: Share = Field(
        default=1.0, description="Share of the minutes of a piece that a person is there.", examples=[0.5]
    )
    lot_charge: NonNegativeMoney = Field(default=Decimal(0), description="What is paid for a lot besides.", examples=["85.00"])
    piece_charge: NonNegativeMoney = Field(
        default=Decimal(0), description="What is paid or used up for each piece.", examples=["4.00"]
    )
    wait_days: Annotated[float, Field(strict=True, ge=0, le=730)] = Field(
        default=0.0, description="Calendar days for which what comes to it rests or is away.", examples=[14.0]
    )
    yield_share: Yield = Field(default=1.0, description="Share of the pieces that are good after it.", examples=[0.98])

    @model_validator(mode="after")
    def _it_is_done_somewhere_and_has_a_place(self) -> OwnOperationRow:
        refuse_if_any(self, [*self._faults_of_place(), *self._faults_of_work()])
        return self

    def _faults_of_place(self) -> list[Fault]:
        faults, places = [], PLACES[self.on]
        if self.after not in places:
            reason = f"nothing is done to each {self.on} after it"
            faults.append(
                Fault("after", reason=reason, figure=self.after, limit=", ".join(places), remedy=f"one of {', '.join(places)}")
            )
        if (self.finer_than is None) == (self.wanted_by in FINER):
            reason = f"a step is wanted by {', '.join(FINER)} finer than a figure, and only then"
            remedy = "fill in finer_than" if self.finer_than is None else "leave finer_than out"
            faults.append(Fault("finer_than", reason=reason, figure=self.finer_than, limit=self.wanted_by, remedy=remedy))
        return faults

    def _faults_of_work(self) -> list[Fault]:
        faults = []
        if bool(self.work_centre) == bool(self.supplier):
            reason = "it is done at a work centre or by a supplier"
            faults.append(
                Fault("work_centre", reason=reason, figure=self.work_centre, limit="one of the two", remedy="fill in one of them")
            )
        if self.supplier and (self.setup_min or self.minutes_each):
            reason = "minutes of a supplier are in its charges"
            faults.append(
                Fault(
                    "minutes_each", reason=reason, figure=self.minutes_each, limit=0, remedy="leave out setup_min and minutes_each"
                )
            )
        if not (self.setup_min or self.minutes_each or self.lot_charge or self.piece_charge or self.wait_days):
            reason = "it takes no time and costs nothing"
            faults.append(
                Fault("minutes_each", reason=reason, figure=0, limit="above 0", remedy="its minutes, its charges or its days")
            )
        return faults


class SupplierRow(WorkCentreRow):
    """A supplier of a step of the shop's own, as a work centre at which nobody waits, nothing varies and no minute costs anything."""

    of_operation: RateRow

    def named_in(self, table: str) -> RateRowRef:
        """The row of the step."""
        return self.of_operation.named_in("operations")


def supplier_of(row: OwnOperationRow) -> SupplierRow:
    """The supplier of a step."""
    return SupplierRow.model_construct(
        name=f"outside: {row.supplier}", id="", source=row.source, as_of=row.as_of, operations=("own_work",), of_operation=row,
        machine_rate_per_h=Decimal(0), labour_rate_per_h=Decimal(0), stations=MANY_AT_ONCE, setup_min=0.0, load_min_per_piece=0.0,
        attended_share=0.0, minutes_variation=0.0,
    )  # fmt: skip
