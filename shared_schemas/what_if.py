"""What if: a quote beside copies of it in which something is changed, worked out together and without a revision."""

from __future__ import annotations

from datetime import date, datetime
from operator import not_
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from shared_schemas.base import Contract, Currency, Fault, Money, Name, refuse_if_any
from shared_schemas.json_patch import JsonPatch
from shared_schemas.lead_times import Line
from shared_schemas.overrides import OverriddenFigure, WorksheetPointer
from shared_schemas.problem import Problem
from shared_schemas.quote_life import ChangedPlace, faults_of_changes

MOST_COPIES = 8
MOST_OVERRIDES = 200


class SetInCopy(Contract):
    """A figure of the worksheet as it would be set."""

    pointer: WorksheetPointer
    value: OverriddenFigure


class CopyRequest(Contract):
    """A copy of a quote by its name, with what is changed in it, in this order: `changes`, a JSON merge patch (RFC 7396) on the request;
    `patch`, operations of a JSON Patch (RFC 6902) with elements by their names; `overrides`, figures of the worksheet.

    `rate_revision` are other rates; without it those of the quote.
    """

    name: Name
    changes: dict[str, Any] = Field(default_factory=dict)
    patch: JsonPatch = ()
    overrides: Annotated[tuple[SetInCopy, ...], Field(max_length=MOST_OVERRIDES, exclude_if=not_)] = ()
    rate_revision: Annotated[int, Field(strict=True, ge=1)] | None = None

    @model_validator(mode="after")
    def _changes_that_a_request_can_take(self) -> CopyRequest:
        refuse_if_any(self, faults_of_changes(self.changes, self.patch))
        return self


class WhatIfRequest(Contract):
    """What is to be worked out beside the latest revision of a quote. Nothing is stored with the quote, and no revision is made.

    Copies are worked out as of the day, the rates and the book of load of that revision, so that nothing moves but what is changed.
    """

    copies: Annotated[tuple[CopyRequest, ...], Field(min_length=1, max_length=MOST_COPIES)]

    @model_validator(mode="after")
    def _each_name_once(self) -> WhatIfRequest:
        names = [copy.name for copy in self.copies]
        faults = [
            Fault("copies", place, "name", reason="the name is taken", figure=name, limit="each name once", remedy="another name")
            for place, name in enumerate(names)
            if name in names[:place]
        ]
        refuse_if_any(self, faults)
        return self


class WhatIfAccepted(Contract):
    """The answer to a what-if: its number, how many copies are worked out, and where to look."""

    number: str
    status: Literal["working", "done"]
    copies: int
    links: dict[str, str]


class FiguresAtQuantity(Contract):
    """One quantity of the quote or of a copy. `lines` add up to the total price.

    `margin_share` is what is left of the price when cost, overhead, contingency and tools spread over it are paid, as a share of it;
    `loss_chance` is the chance that cost and overhead pass the price.
    """

    quantity: int
    unit_price: Money
    total_price: Money
    unit_cost: Money
    lines: tuple[Line, ...]
    p50_days: int
    p90_days: int
    ship_date: date
    start_quantities: dict[str, int]
    margin_share: float
    loss_chance: float | None = None


class ToldFinding(Contract):
    """A finding of a quote or of a copy, and the place that it is about in words."""

    code: str
    severity: str
    where: str
    message: str


class FiguresOfCopy(Contract):
    """The figures of the quote or of a copy; `tooling` is the sum of the charges for tools that are asked once."""

    currency: Currency
    quantities: tuple[FiguresAtQuantity, ...]
    tooling: Money
    findings: tuple[ToldFinding, ...] = ()


class MovedLine(Contract):
    """A line of the price that is another in the copy; the difference is the copy less the quote."""

    name: str
    difference: Money


class MovedAtQuantity(Contract):
    """What a copy does at one quantity of the quote: differences are the copy less the quote, the share is of the quote's unit price."""

    quantity: int
    unit_price: Money
    unit_price_share: float
    unit_cost: Money
    p90_days: int
    ship_date_days: int
    margin_share: float
    lines: tuple[MovedLine, ...] = ()


class WhatIfCopy(Contract):
    """A copy: what is asked otherwise in it (pointers with elements by their names), its figures, and what moved against the quote (nothing is said of another currency).

    `new_findings` are those that the quote has not, `gone_findings` those that the copy has not. `problem` says why it is refused, or what broke.
    `as_planned`: nothing before the price was worked out again.
    """

    name: str
    rate_revision: int
    outcome: Literal["working", "ready", "refused", "failed", "cancelled"]
    changed: tuple[ChangedPlace, ...]
    as_planned: Annotated[bool, Field(exclude_if=not_)] = False
    figures: FiguresOfCopy | None = None
    moved: tuple[MovedAtQuantity, ...] = ()
    new_findings: tuple[ToldFinding, ...] = ()
    gone_findings: tuple[ToldFinding, ...] = ()
    problem: Problem | None = None


class WhatIf(Contract):
    """How far a what-if is, the figures of the quote as it was issued (`null` where it was refused), and each copy. It is kept until `kept_until`."""

    number: str
    status: Literal["working", "done"]
    quote_number: str
    revision: int
    rate_revision: int
    quoted_on: date
    created_at: datetime
    kept_until: date
    asked_by: str
    worked_out: int
    issued: FiguresOfCopy | None
    copies: tuple[WhatIfCopy, ...]
