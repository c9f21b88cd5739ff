"""The estimator's worksheet of a quote: routing, minutes, losses and costs in one document, each figure with the pointer by which it is set.

A figure that an estimator set says who did, when and why, and what stood there. Approvals are the second key of a quote that needs one.
"""

from __future__ import annotations

from datetime import date, datetime
from operator import not_
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from shared_schemas.base import NO_CONTROLS, Contract, Currency, Fault, Money, Text, refuse_if_any
from shared_schemas.lead_times import Line
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import Face, PartKind
from shared_schemas.overrides import OverriddenFigure, Person, Reason, WorksheetPointer
from shared_schemas.problem import OnlyWhereSaid
from shared_schemas.quote import ApprovalState

MOST_CHANGES = 200


class WorksheetOverride(Contract):
    """What an estimator set at a pointer. `base` is the figure that stood there then, `base_now` what this revision would have without it,
    `confirmed_base` another figure at which it was looked at again and kept.

    `moved` says that the two are not the same and that nobody has confirmed it since: such a revision can be neither accepted nor given out.
    """

    pointer: WorksheetPointer
    value: Any
    base: Any = None
    base_now: Any = None
    confirmed_base: Annotated[Any, OnlyWhereSaid] = None
    author: Person
    reason: Reason
    at: datetime
    key_id: str = ""
    moved: Annotated[bool, Field(exclude_if=not_)] = False


class EditableFigure(Contract):
    """A figure of the worksheet with the pointer by which it is set, none where it cannot be set by itself; `override` where somebody did.

    Amounts are in the currency of the quote, as decimal strings.
    """

    pointer: Annotated[WorksheetPointer | None, OnlyWhereSaid] = None
    value: Any = None
    unit: Annotated[str, Field(exclude_if=not_)] = ""
    override: Annotated[WorksheetOverride | None, OnlyWhereSaid] = None


class OperationAtQuantity(Contract):
    """An operation at one quantity: pieces that reach it, batches, minutes of machine and person, cost in the currency of the quote."""

    quantity: int
    pieces: int
    batches: int
    machine_min: float
    attended_min: float
    cost: Money


class WorksheetOperation(Contract):
    """One line of the route card; `setup_min`, `batch_min`, `piece_min`, `yield` and the rest are figures that can be set.

    `at` has the quantities at which it is done: another quantity may be made another way. `extra` is there for an operation that an estimator
    added, and is set as a whole; `left_out` for one that he took out, which takes no minutes and costs nothing.
    """

    id: str
    operation: OperationName
    face: Annotated[Face | None, OnlyWhereSaid] = None
    method: Annotated[str, Field(exclude_if=not_)] = ""
    work_centre: str
    batch_size: int
    setup_min: EditableFigure
    batch_min: EditableFigure
    piece_min: EditableFigure
    yield_share: Annotated[EditableFigure, Field(alias="yield")]
    batch_loss: EditableFigure
    lot_charge: EditableFigure
    extra: Annotated[EditableFigure | None, OnlyWhereSaid] = None
    left_out: Annotated[EditableFigure | None, OnlyWhereSaid] = None
    at: tuple[OperationAtQuantity, ...]


class WorksheetBlank(Contract):
    """The blank of an element at the middle quantity: glass, form, size, and what it costs each."""

    element: str
    glass: str
    form: str
    diameter_mm: float
    thickness_mm: float
    price: EditableFigure


class WorksheetPart(Contract):
    """An element, a cemented group or the lens, with its operations in the order they are done."""

    name: str
    kind: PartKind
    operations: tuple[WorksheetOperation, ...]


class WorksheetBoughtPart(Contract):
    """A bought part, its price each and its charge for the lot."""

    name: str
    count: int
    unit_price: EditableFigure
    lot_charge: EditableFigure


class WorksheetTool(Contract):
    """A tool that is made or bought for the job, and its charge."""

    name: str
    part: str
    charge: EditableFigure


class WorksheetStart(Contract):
    """How many of a part are needed and started, and how many of them are expected to be lost."""

    part: str
    needed: int
    started: EditableFigure
    losses_expected: float


class WorksheetQuantity(Contract):
    """One quantity in pieces and money. `lines` add up to `total_price`.

    `margin_reached_share` is what the price leaves when cost, overhead and contingency are paid, as a share of what of it is not for tools;
    `loss_chance` is the chance that cost and overhead pass the price. `margin_share` and `discount_share` are the terms at this quantity.
    """

    quantity: int
    starts: tuple[WorksheetStart, ...]
    lines: tuple[Line, ...]
    unit_cost: Money
    unit_price: EditableFigure
    total_price: Money
    margin_share: EditableFigure
    discount_share: EditableFigure
    margin_reached_share: float
    loss_chance: float | None = None


class NeedOfApproval(Contract):
    """Why a revision needs a second key: at which quantity what is below its floor or above its limit, by the terms of the class of customer."""

    quantity: int
    what: Literal["margin_reached_share", "loss_chance"]
    figure: float
    limit: float
    message: Text


class Approval(Contract):
    """A second key: who approved a revision, with which key and when."""

    revision: int
    by: Person
    note: str = ""
    key_id: str
    at: datetime


class Approvals(Contract):
    """Whether a revision needs a second key and has it, why, and every approval of the quote; `not_by` are keys and names that cannot give it."""

    state: ApprovalState | None = None
    needed_for: tuple[NeedOfApproval, ...] = ()
    given: tuple[Approval, ...] = ()
    not_by_keys: tuple[str, ...] = ()
    not_by_names: tuple[str, ...] = ()


class ApprovalRequest(Contract):
    """Approve a revision, the latest without `revision`, in the name of `by`."""

    by: Person
    note: Annotated[str, Field(max_length=2000, pattern=NO_CONTROLS)] = ""
    revision: Annotated[int, Field(strict=True, ge=1)] | None = None


class Worksheet(Contract):
    """A ready revision as an estimator works on it.

    `overrides` are all of the revision, in the order in which they were set; those of an operation that is left out, or that are at no
    figure any more, stand there alone. Amounts are in `currency`.
    """

    number: str
    revision: int
    title: str
    customer: str = ""
    customer_class: str
    currency: Currency
    rate_revision: int
    quoted_on: date
    parts: tuple[WorksheetPart, ...]
    blanks: tuple[WorksheetBlank, ...]
    bought_parts: tuple[WorksheetBoughtPart, ...]
    tools: tuple[WorksheetTool, ...]
    quantities: tuple[WorksheetQuantity, ...]
    terms: tuple[EditableFigure, ...]
    overrides: tuple[WorksheetOverride, ...] = ()
    approvals: Approvals = Approvals()


class SetFigure(Contract):
    """Set the figure at a pointer to a value, and say why."""

    pointer: WorksheetPointer
    value: OverriddenFigure
    reason: Reason


class WorksheetChange(Contract):
    """What an estimator changes on the worksheet of the latest revision; it makes the next one.

    `set` sets figures, `withdraw` gives them back to the arithmetic, `confirm` keeps overrides whose base has moved. `author` is who says so.
    `rate_revision` null is the rates that the latest revision was made at, so that nothing moves but what was changed.
    """

    author: Person
    set: Annotated[tuple[SetFigure, ...], Field(max_length=MOST_CHANGES)] = ()
    withdraw: Annotated[tuple[WorksheetPointer, ...], Field(max_length=MOST_CHANGES)] = ()
    confirm: Annotated[tuple[WorksheetPointer, ...], Field(max_length=MOST_CHANGES)] = ()
    rate_revision: Annotated[int, Field(strict=True, ge=1)] | None = None

    @model_validator(mode="after")
    def _each_pointer_once(self) -> WorksheetChange:
        faults, seen = [], set[str]()
        for name in ("set", "withdraw", "confirm"):
            for place, one in enumerate(getattr(self, name)):
                pointer = one.pointer if isinstance(one, SetFigure) else one
                if pointer in seen:
                    where = (name, place, "pointer") if name == "set" else (name, place)
                    faults.append(
                        Fault(
                            *where,
                            reason="this pointer is named twice",
                            figure=pointer,
                            limit="each once",
                            remedy="leave one of them out",
                        )
                    )
                seen.add(pointer)
        if not seen:
            faults.append(
                Fault(
                    reason="nothing is changed",
                    figure=0,
                    limit="set, withdraw or confirm",
                    remedy="name at least one pointer",
                )
            )
        refuse_if_any(self, faults)
        return self


__all__ = [name for name in dir() if not name.startswith("_")]
