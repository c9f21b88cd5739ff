"""The life of a quote after it was asked for: requote, decision, comparison of two revisions; and requests in bulk."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError, field_validator, model_validator
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError, PydanticKnownError

from shared_schemas.base import NO_CONTROLS, Contract, Currency, Day, Fault, Money, escaped, refuse_if_any
from shared_schemas.json_patch import JsonPatch, PatchOperation
from shared_schemas.lead_times import Delivery, LineKind, Quantity, faults_of_deliveries
from shared_schemas.quote import DeclineReason, QuoteStatus
from shared_schemas.quote_request import QuoteRequest

MOST_IN_A_BATCH = 1000
DEEPEST_CHANGE = 16
"""A request is not nested deeper than this."""
MOST_VALUES = 20_000
"""JSON values of one request; the largest prescription has a tenth of it."""
MOST_FAULTS = 100
"""So many places to mend are told of a batch; with these mended, the next are."""


class RequoteRequest(Contract):
    """Ask for the next revision of a quote, at the latest rates or those of `rate_revision`.

    `changes` is a JSON merge patch (RFC 7396) on the request of the latest revision: what it names takes the place of what
    stood there, `null` takes it out (a field with a default falls back to that), a list is replaced whole. `patch` are operations of a
    JSON Patch (RFC 6902), done one after the other on what `changes` left, with elements by their names.
    """

    changes: dict[str, Any] = Field(default_factory=dict)
    patch: JsonPatch = ()
    rate_revision: Annotated[int, Field(strict=True, ge=1)] | None = None

    @model_validator(mode="after")
    def _changes_that_a_request_can_take(self) -> RequoteRequest:
        refuse_if_any(self, faults_of_changes(self.changes, self.patch))
        return self


def faults_of_changes(changes: dict[str, Any], patch: Sequence[PatchOperation]) -> list[Fault]:
    """What in changes of a request, or in operations on it, can be no request: other rates, or more levels than there are."""
    of_rates: list[tuple[str | int, ...]] = [("changes", "rate_revision")] if "rate_revision" in changes else []
    of_rates += [("patch", place, "path") for place, each in enumerate(patch) if f"{each.path}/".startswith("/rate_revision/")]
    faults = [
        Fault(
            *where,
            reason="the rates of a requote are not a change of the request",
            figure=changes.get("rate_revision", "/rate_revision"),
            limit="the field rate_revision beside it",
            remedy="write it there, or leave it out for the latest rates",
        )
        for where in of_rates
    ]
    deep: list[tuple[str | int, ...]] = [("changes",)] if is_deeper(changes, DEEPEST_CHANGE) else []
    deep += [("patch", place, "value") for place, each in enumerate(patch) if is_deeper(each.value, DEEPEST_CHANGE)]
    faults += [
        Fault(
            *where,
            reason="the changes are nested deeper than any request",
            figure=f"more than {DEEPEST_CHANGE} levels",
            limit=DEEPEST_CHANGE,
            remedy="name fields of a quote request",
        )
        for where in deep
    ]
    return faults


def is_deeper(document: Any, levels: int) -> bool:
    """Whether a JSON document has objects or arrays below `levels` levels."""
    layer = [document]
    for _ in range(levels + 1):
        layer = [
            inner for one in layer for inner in (one.values() if isinstance(one, dict) else one if isinstance(one, list) else ())
        ]
        layer = [one for one in layer if isinstance(one, (dict, list))]
        if not layer:
            return False
    return True


CustomersWord = Annotated[str, Field(min_length=1, max_length=200, pattern=NO_CONTROLS)]
OF_AN_ORDER = ("purchase_order", "customer_number", "contact", "needed_by", "confirm_expired", "changes_order", "deliveries")
"""What only an acceptance says."""


class DecisionRequest(Contract):
    """What the customer decided, told by `by`; without a `revision` it is about the latest.

    An acceptance names the `quantity` that is ordered, one of those that were quoted; `purchase_order`, `customer_number` and `contact` are
    what the customer calls it. After the last day of a quote it is accepted only with `confirm_expired`, which says that its prices still hold.
    `deliveries` are parts of the quantity, in the order they are wanted; they add up to it.
    An acceptance that takes the place of that of an earlier revision names it in `changes_order`. A decline may say its `reason`.
    """

    decision: Literal["accepted", "declined"]
    quantity: Quantity | None = None
    by: Annotated[str, Field(min_length=1, max_length=200, pattern=NO_CONTROLS)]
    note: Annotated[str, Field(max_length=2000, pattern=NO_CONTROLS)] = ""
    revision: Annotated[int, Field(strict=True, ge=1)] | None = None
    purchase_order: CustomersWord | None = None
    customer_number: CustomersWord | None = None
    contact: CustomersWord | None = None
    needed_by: Day | None = None
    confirm_expired: bool = False
    reason: DeclineReason | None = None
    changes_order: Annotated[int, Field(strict=True, ge=1)] | None = None
    deliveries: Annotated[tuple[Delivery, ...], Field(max_length=20)] = ()

    @model_validator(mode="after")
    def _says_what_belongs_to_it(self) -> DecisionRequest:
        other = ("reason",) if self.decision == "accepted" else OF_AN_ORDER
        faults = [
            Fault(
                name,
                reason=f"that is not said of a quote that is {self.decision}",
                figure=str(getattr(self, name)),
                limit=None,
                remedy="leave it out",
            )
            for name in other
            if getattr(self, name)
        ]
        if self.decision == "accepted" and self.quantity is None:
            faults.append(
                Fault(
                    "quantity",
                    reason="an acceptance needs the quantity that is ordered",
                    figure=None,
                    limit="one of the quantities quoted",
                    remedy="add it",
                )
            )
        elif self.decision == "accepted":
            faults += faults_of_deliveries(self.deliveries, self.quantity)
        refuse_if_any(self, faults)
        return self


class UndoRequest(Contract):
    """Take back a decline that was recorded by mistake within the last hour: who says so, and why; without a `revision` that of the latest."""

    by: Annotated[str, Field(min_length=1, max_length=200, pattern=NO_CONTROLS)]
    reason: Annotated[str, Field(min_length=1, max_length=2000, pattern=NO_CONTROLS)]
    revision: Annotated[int, Field(strict=True, ge=1)] | None = None


class ComparedAmount(Contract):
    """An amount in two revisions; `difference` is new less old, `None` where one is missing or the currencies differ."""

    old: Money | None = None
    new: Money | None = None
    difference: Money | None = None


class ComparedCount(Contract):
    """A whole number in two revisions."""

    old: int | None = None
    new: int | None = None
    difference: int | None = None


class ComparedDay(Contract):
    """A day in two revisions, and how many days later the new one is."""

    old: date | None = None
    new: date | None = None
    difference_days: int | None = None


class ComparedLine(Contract):
    """One line of the price."""

    name: str
    kind: LineKind
    amount: ComparedAmount


class ComparedDeciding(Contract):
    """Something that decides a date in one of two revisions or in both: the days that are its own, `None` where it is not among the five things told."""

    name: str
    part: str
    old_days: float | None = None
    new_days: float | None = None


class ComparedBreak(Contract):
    """One quantity; where only one revision quotes it, the other side is empty. Differences of lines add up to that of the total.

    `decided_by` are the things that decide the date, those of the new revision first.
    """

    quantity: int
    unit_price: ComparedAmount
    total_price: ComparedAmount
    lines: tuple[ComparedLine, ...]
    unit_cost: ComparedAmount
    p50_days: ComparedCount
    p80_days: ComparedCount = ComparedCount()
    p90_days: ComparedCount
    ship_date: ComparedDay
    decided_by: tuple[ComparedDeciding, ...] = ()
    start_quantities: dict[str, ComparedCount]


class ComparedTool(Contract):
    """A one-off charge."""

    name: str
    part: str
    charge: ComparedAmount


class ChangedPlace(Contract):
    """A place that differs: its JSON pointer, what stood there and what stands there; `None` where there is nothing."""

    pointer: str
    old: Any = None
    new: Any = None


class ChangedRow(Contract):
    """A rate row that a figure of either revision rests on, and the fields in which it differs."""

    table: str
    row: str
    fields: tuple[ChangedPlace, ...]


class ComparedRevision(Contract):
    """What a side of a comparison is."""

    revision: int
    rate_revision: int
    load_snapshot: int | None = None
    quoted_on: date
    valid_until: date
    currency: Currency
    digest: str


class Comparison(Contract):
    """Two revisions of a quote, line by line. `request` has what was asked otherwise, `rate_rows` what the shop charges otherwise."""

    number: str
    old: ComparedRevision
    new: ComparedRevision
    request: tuple[ChangedPlace, ...]
    rate_rows: tuple[ChangedRow, ...]
    breaks: tuple[ComparedBreak, ...]
    tooling: tuple[ComparedTool, ...]


class QuoteBatchRequest(Contract):
    """Many requests at once: every one is accepted, or none is."""

    requests: Annotated[tuple[QuoteRequest, ...], Field(min_length=1, max_length=MOST_IN_A_BATCH)]

    @field_validator("requests", mode="before")
    @classmethod
    def _each_until_enough_is_wrong(cls, value: Any) -> Any:
        """Read one after the other, so that a body of nothing but faults is not told in whole."""
        if not isinstance(value, (list, tuple)):
            return value
        if len(value) > MOST_IN_A_BATCH:
            many = Fault(
                reason="there are more requests than a batch takes",
                figure=len(value),
                limit=MOST_IN_A_BATCH,
                remedy=f"send at most {MOST_IN_A_BATCH} at once",
            )
            raise ValidationError.from_exception_data(cls.__name__, [many.as_detail()])
        read: list[QuoteRequest] = []
        faults: list[InitErrorDetails] = []
        for place, one in enumerate(value):
            if has_more_values(one, MOST_VALUES):
                faults.append(
                    Fault(
                        place,
                        reason="the request has more values than any lens needs",
                        figure=f"more than {MOST_VALUES}",
                        limit=MOST_VALUES,
                        remedy="look for a list that should be short",
                    ).as_detail()
                )
            else:
                try:
                    read.append(QuoteRequest.model_validate(one))
                except ValidationError as fault:
                    faults += [_placed(error, place) for error in fault.errors(include_url=False)]
            if len(faults) >= MOST_FAULTS:
                break
        if faults:
            raise ValidationError.from_exception_data(cls.__name__, faults[:MOST_FAULTS])
        return tuple(read)


def has_more_values(document: Any, most: int) -> bool:
    """Whether a JSON document has more than `most` values, however they are nested."""
    found, waiting = 0, [document]
    while waiting and found <= most:
        one = waiting.pop()
        inner = list(one.values()) if isinstance(one, dict) else one if isinstance(one, list) else ()
        found += 1 + len(inner)
        waiting += [value for value in inner if isinstance(value, (dict, list))]
    return found > most


def _placed(error: ErrorDetails, place: int) -> InitErrorDetails:
    """An error of one request as one of the list that it stands in."""
    where, context = (place, *error["loc"]), error.get("ctx", {})
    try:
        PydanticKnownError(error["type"], context)  # type: ignore[arg-type]
    except KeyError:
        told = PydanticCustomError(error["type"], escaped(error["msg"]), context)
        return InitErrorDetails(type=told, loc=where, input=error["input"])
    return InitErrorDetails(type=error["type"], loc=where, input=error["input"], ctx=context)


class QuoteBatchItem(Contract):
    """One quote of a batch; `place` is that of its request, from 0."""

    place: int
    number: str
    status: QuoteStatus
    customer: str
    title: str


class QuoteBatchAccepted(Contract):
    """The answer to a batch: its number, the number of the quote for each request in their order, and where to look."""

    number: str
    status: Literal["in_work", "finished"]
    quotes: tuple[str, ...]
    links: dict[str, str]


class QuoteBatch(Contract):
    """How far a batch is: how many quotes of each status (`in_work` for all that have no outcome), and a page of them."""

    number: str
    status: Literal["in_work", "finished"]
    created_at: datetime
    counts: dict[Literal["in_work", "ready", "refused", "failed", "cancelled"], int]
    items: tuple[QuoteBatchItem, ...]
    next: str | None = None


__all__ = [name for name in dir() if not name.startswith("_")]
