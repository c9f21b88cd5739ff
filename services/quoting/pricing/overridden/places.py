"""Where an override stands, by its pointer into the worksheet, and what may be set there."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, Literal

from pydantic import ValidationError

from shared_schemas.overrides import ExtraOperation

Subject = Literal["operations", "starts", "blanks", "bought_parts", "tooling", "prices", "terms"]

EXTRA = "+"
"""What the field of an extra operation is called."""
DEAREST = Decimal(1_000_000_000)
LONGEST_MIN = 1e6


@dataclass(frozen=True)
class Kind:
    """What may be set at a place: its unit, in words what it has to be, and how it is read; reading raises `ValueError` for anything else."""

    unit: str
    limit: str
    read: Callable[[Any], Any]


@dataclass(frozen=True)
class WorksheetPlace:
    """A place of the worksheet: of which subject, of which operation, part, tool or quantity, and which field of it.

    An extra operation has its part in `name` and its own name in `extra`.
    """

    pointer: str
    subject: Subject
    name: str
    field: str
    extra: str = ""
    quantity: int = 0

    @property
    def kind(self) -> Kind:
        """What may be set there."""
        return FIELDS[self.subject][self.field]


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError("a number is needed")
    return float(value)


def _within(low: float, high: float, *, above: bool = False, below: bool = False) -> Callable[[Any], float]:
    """Reads a number from `low` to `high`; the ends are left out where `above` or `below` say so."""

    def read(value: Any) -> float:
        number = _number(value)
        if not low <= number <= high or (above and number == low) or (below and number == high):
            raise ValueError("out of range")
        return number

    return read


def _whole(low: int, high: int) -> Callable[[Any], int]:
    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise ValueError("a whole number is needed")
        return value

    return read


def _money(*, least: Decimal = Decimal(0)) -> Callable[[Any], Decimal]:
    """Reads an amount, which is a decimal string in JSON, and a decimal where it was read before."""

    def read(value: Any) -> Decimal:
        if not isinstance(value, (str, Decimal)):
            raise ValueError("a decimal string is needed")
        try:
            amount = Decimal(value)
        except InvalidOperation:
            raise ValueError("a decimal string is needed") from None
        if not amount.is_finite() or not least <= amount <= DEAREST:
            raise ValueError("out of range")
        return amount

    return read


def _yes(value: Any) -> bool:
    if value is not True:
        raise ValueError("true is needed")
    return True


def _one_of(*choices: str) -> Callable[[Any], str]:
    def read(value: Any) -> str:
        if value not in choices:
            raise ValueError("unknown")
        return str(value)

    return read


def _sentence(value: Any) -> str:
    if not isinstance(value, str) or not 3 <= len(value) <= 500 or not value.isprintable():
        raise ValueError("a sentence is needed")
    return value


def _operation(value: Any) -> ExtraOperation:
    try:
        return ExtraOperation.model_validate(value)
    except ValidationError as fault:
        first = fault.errors()[0]
        raise ValueError(": ".join(filter(None, ("/".join(map(str, first["loc"])), first["msg"])))) from None


MINUTES = Kind("min", "minutes, from 0", _within(0, LONGEST_MIN))
YIELD = Kind("", "a share over 0 and up to 1", _within(0, 1, above=True))
LOSS = Kind("", "a share from 0 and below 1", _within(0, 1, below=True))
SHARE = Kind("", "a share from 0 to 1", _within(0, 1))
AMOUNT = Kind("money", 'an amount from 0 as a decimal string, such as "12.50"', _money())
PRICE = Kind("money", 'an amount from 0.0001 as a decimal string, such as "12.50"', _money(least=Decimal("0.0001")))
PIECES = Kind("pieces", "a whole number from 1", _whole(1, 100_000_000))

FIELDS: Mapping[Subject, Mapping[str, Kind]] = {
    "operations": {
        "setup_min": MINUTES,
        "batch_min": MINUTES,
        "piece_min": MINUTES,
        "yield": YIELD,
        "batch_loss": LOSS,
        "lot_charge": AMOUNT,
        "left_out": Kind("", "true", _yes),
        EXTRA: Kind("", "an object with work_centre, setup_min, piece_min and after", _operation),
    },
    "starts": {"": PIECES},
    "blanks": {"price": AMOUNT},
    "bought_parts": {"unit_price": AMOUNT, "lot_charge": AMOUNT},
    "tooling": {"charge": AMOUNT},
    "prices": {"unit_price": PRICE, "discount_share": LOSS, "margin_share": LOSS},
    "terms": {
        "discount_share": LOSS,
        "margin_share": LOSS,
        "contingency_share": SHARE,
        "minimum_order": AMOUNT,
        "valid_days": Kind("days", "a whole number from 1 to 365", _whole(1, 365)),
        "tooling": Kind("", "one_off or spread", _one_of("one_off", "spread")),
        "currency_clause": Kind("", "a sentence of 3 to 500 characters", _sentence),
    },
}
"""What may be set, by subject and field."""


def place_of(pointer: str) -> WorksheetPlace | None:
    """The place that a pointer names, `None` where the worksheet has nothing of that kind."""
    tokens = [token.replace("~1", "/").replace("~0", "~") for token in pointer.split("/")[1:]]
    match tokens:
        case ["operations", name] if all(name.rpartition(EXTRA)):
            part, _, extra = name.rpartition(EXTRA)
            place = WorksheetPlace(pointer, "operations", part, EXTRA, extra)
        case ["terms", field]:
            place = WorksheetPlace(pointer, "terms", "", field)
        case ["starts", part, quantity]:
            place = WorksheetPlace(pointer, "starts", part, "", quantity=_quantity(quantity))
        case ["prices", quantity, field]:
            place = WorksheetPlace(pointer, "prices", "", field, quantity=_quantity(quantity))
        case ["operations" | "blanks" | "bought_parts" | "tooling" as subject, name, field] if field != EXTRA:
            place = WorksheetPlace(pointer, subject, name, field)
        case _:
            return None
    of_a_quantity = place.subject in ("starts", "prices")
    return place if place.field in FIELDS[place.subject] and bool(place.quantity) == of_a_quantity else None


def _quantity(token: str) -> int:
    """A quantity as it is written in a pointer, 0 for what is none."""
    return int(token) if token.isascii() and token.isdecimal() and not token.startswith("0") and len(token) <= 9 else 0


def pointer_to(subject: Subject, *names: str | int) -> str:
    """The pointer of a place."""
    return "/".join(("", subject, *(str(name).replace("~", "~0").replace("/", "~1") for name in names)))
