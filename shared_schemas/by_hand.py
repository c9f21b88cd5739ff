"""What an engineer sends to run one stage by hand."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from shared_schemas.base import Contract, Fault, Name, refuse_if_any
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.lead_times import Quantity
from shared_schemas.prescription import Prescription
from shared_schemas.quote_request import QuoteRequest


class BlanksByHand(Contract):
    """Plan the blanks of this request, whose prescription was checked with this report, by the latest rates."""

    request: QuoteRequest
    check: CheckReport


class OperationsByHand(Contract):
    """Plan the operations of this request with this report and these blanks, by the latest rates."""

    request: QuoteRequest
    check: CheckReport
    blanks: BlankPlan


class LensToBuyFor(Contract):
    """A lens, what its check said, and how many blanks to start of each element; one that is not named needs no glass."""

    name: Name
    prescription: Prescription
    check: CheckReport
    blanks: Annotated[dict[str, Quantity], Field(min_length=1)]


class BuyTogether(Contract):
    """Buy the glass of these lenses together where that costs less, by the latest rates."""

    lenses: Annotated[tuple[LensToBuyFor, ...], Field(min_length=1, max_length=50)]

    @model_validator(mode="after")
    def _each_name_once(self) -> BuyTogether:
        names = [lens.name for lens in self.lenses]
        refuse_if_any(
            self,
            [
                Fault("lenses", place, "name", reason=f"two lenses are called {name}", figure=name, limit="each name once",
                      remedy="another name")
                for place, name in enumerate(names)
                if name in names[:place]
            ],
        )  # fmt: skip
        return self
