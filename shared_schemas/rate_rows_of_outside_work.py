"""Rows of the table of outside work: suppliers that do one operation in place of the shop."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from shared_schemas.base import Fault, Name, NonNegativeMoney, Positive, refuse_if_any
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rate_row import RateRow, Yield


class OutsideWorkRow(RateRow):
    """A supplier (`name`) that does one operation on either face: `lot_charge` for what is sent at once and `piece_charge` for each piece and face.

    What is sent is back after `lead_days` calendar days, transport included; the supplier is closed when the shop is. Of the pieces sent
    `yield_share` come back good. It does what the shop does by one of `methods`, by any where none is named. It takes blanks from `smallest_diameter_mm` to `largest_diameter_mm`, where these are said.
    """

    operation: OperationName
    methods: tuple[Name, ...] = ()
    lot_charge: NonNegativeMoney
    piece_charge: NonNegativeMoney
    lead_days: Annotated[float, Field(strict=True, gt=0, le=730)]
    yield_share: Yield
    smallest_diameter_mm: Positive | None = None
    largest_diameter_mm: Positive | None = None

    @model_validator(mode="after")
    def _something_has_such_a_diameter(self) -> OutsideWorkRow:
        smallest, largest = self.smallest_diameter_mm, self.largest_diameter_mm
        faults = []
        if smallest is not None and largest is not None and largest < smallest:
            faults.append(
                Fault(
                    "largest_diameter_mm",
                    reason="nothing is as small as the largest and as large as the smallest diameter",
                    figure=largest,
                    limit=smallest,
                    remedy=f"{smallest:g} or more, or leave it out",
                )
            )
        refuse_if_any(self, faults)
        return self

    def takes(self, diameter_mm: float) -> bool:
        """Whether it works on pieces of that diameter."""
        return (self.smallest_diameter_mm or 0.0) <= diameter_mm and (
            self.largest_diameter_mm is None or diameter_mm <= self.largest_diameter_mm
        )
