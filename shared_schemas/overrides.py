"""What an estimator says instead of a figure that was worked out: where, what, who, why, and what stood there."""

from __future__ import annotations

from decimal import Decimal
from operator import not_
from typing import Annotated, Any

from pydantic import Field

from shared_schemas.base import NO_CONTROLS, Contract, Moment, Name, NonNegative, NonNegativeMoney, Share
from shared_schemas.operations import Face

Person = Annotated[str, Field(min_length=1, max_length=200, pattern=NO_CONTROLS)]
Reason = Annotated[str, Field(min_length=3, max_length=500, pattern=NO_CONTROLS)]
WorksheetPointer = Annotated[str, Field(pattern=r"^(/[^/\x00-\x1f\x7f]+)+$", max_length=300)]
"""Where a figure stands on the worksheet, by names that a requote keeps (an element, the id of an operation, a quantity):

    /operations/{id}/setup_min            also batch_min, piece_min, yield, batch_loss, lot_charge
    /operations/{id}/left_out             true
    /operations/{part}+{name}             an extra operation: an object with work_centre, setup_min, piece_min, after (an id) …
    /starts/{part}/{quantity}             pieces started
    /blanks/{element}/price               what a blank costs, each
    /bought_parts/{name}/unit_price       also lot_charge
    /tooling/{name}/charge                0: waived
    /prices/{quantity}/unit_price         the price itself
    /terms/discount_share                 also /prices/{quantity}/discount_share
    /terms/margin_share                   also /prices/{quantity}/margin_share
    /terms/contingency_share, /terms/minimum_order, /terms/valid_days
    /terms/tooling                        one_off or spread
    /terms/currency_clause                a sentence, as the customer reads it

Amounts are in the currency of the quote, as decimal strings. A name with a slash or a tilde is written as in any JSON pointer, `~1` and `~0`.
"""

OverriddenFigure = bool | int | float | Decimal | str | dict[str, Any]


class ExtraOperation(Contract):
    """An operation that the plan does not have, on a part: `after` is the id of the one it follows; without it comes last.

    Fields are those of `Operation`; `attended_share` is without a word that of the work centre. Amounts are in the currency of the quote.
    """

    work_centre: Name
    after: Annotated[str, Field(max_length=200)] = ""
    face: Face | None = None
    setup_min: NonNegative = 0.0
    batch_size: Annotated[int, Field(strict=True, ge=1)] = 1
    batch_min: NonNegative = 0.0
    piece_min: NonNegative = 0.0
    attended_share: Share | None = None
    yield_share: Annotated[float, Field(alias="yield", strict=True, gt=0, le=1)] = 1.0
    batch_loss: Annotated[float, Field(strict=True, ge=0, lt=1)] = 0.0
    consumables: NonNegativeMoney = Decimal(0)
    lot_charge: NonNegativeMoney = Decimal(0)
    wait_days: Annotated[float, Field(strict=True, ge=0, le=365)] = 0.0


class Override(Contract):
    """A figure that an estimator set. `base` is the figure that it took the place of when it was set, `None` for an extra operation.

    `key_id` is the key it came with. `confirmed_base` is another figure that stood there later, at which the override was looked at again and kept.
    """

    pointer: WorksheetPointer
    value: Any
    author: Person
    reason: Reason
    at: Moment
    key_id: Annotated[str, Field(max_length=200, exclude_if=not_)] = ""
    base: Any = None
    confirmed_base: Annotated[Any, Field(exclude_if=lambda value: value is None)] = None


class AppliedOverride(Contract):
    """An override as a quote was worked out with it; `base` is what would stand there without it, now, `None` where nothing would."""

    pointer: WorksheetPointer
    value: Any
    base: Any = None
    author: Person
    reason: Reason
    at: Moment


class SettableFigure(Contract):
    """A figure of the worksheet: the `value` that counts, `worked_out` what would stand there without an override of it, and its unit.

    Of an extra operation nothing is worked out. Amounts are in the currency of the quote.
    """

    pointer: WorksheetPointer
    value: Any
    worked_out: Any = None
    unit: str = ""
