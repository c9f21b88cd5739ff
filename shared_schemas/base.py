"""What every contract has in common: frozen, unknown fields refused, finite numbers, decimal money."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, WithJsonSchema
from pydantic_core import InitErrorDetails, PydanticCustomError, PydanticKnownError


class Contract(BaseModel):
    """A document, or a part of one, that two services or a service and a caller agree on."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True, serialize_by_alias=True)


def _money_is_written_in_full(value: Any) -> Any:
    if isinstance(value, (float, int)):
        raise PydanticCustomError("money_as_number", 'money is a decimal string, such as "12.50"', {})
    return value


def _is_a_number(value: Any) -> bool:
    return isinstance(value, (int, float)) or (isinstance(value, str) and _NUMBER.fullmatch(value.strip()) is not None)


def _day_in_words(value: Any) -> Any:
    if _is_a_number(value):
        raise PydanticKnownError("date_type")
    return value


def _moment_in_words(value: Any) -> Any:
    if _is_a_number(value):
        raise PydanticKnownError("datetime_type")
    return value


_NUMBER = re.compile(r"[-+]?[0-9]*[.]?[0-9]+([eE][-+]?[0-9]+)?")
Day = Annotated[date, BeforeValidator(_day_in_words)]
"""A day in what callers send; a number is refused, which pydantic would take for seconds since 1970."""

Moment = Annotated[AwareDatetime, BeforeValidator(_moment_in_words)]
"""A moment with its offset from UTC in what callers send; a number is refused."""

Number = Annotated[float, Field(strict=True)]
"""A JSON number (a string or a boolean is refused, a whole number is taken)."""

Positive = Annotated[float, Field(strict=True, gt=0)]
NonNegative = Annotated[float, Field(strict=True, ge=0)]
Share = Annotated[float, Field(strict=True, ge=0, le=1)]
"""A fraction of one, 0 to 1."""

Count = Annotated[int, Field(strict=True, ge=0)]
Money = Annotated[
    Decimal,
    BeforeValidator(_money_is_written_in_full),
    WithJsonSchema({"type": "string", "pattern": r"^[-+]?[0-9]*[.]?[0-9]+$"}),
]
"""An amount in the currency that the document names; a decimal string in JSON, of whole amounts too."""

NonNegativeMoney = Annotated[
    Decimal,
    BeforeValidator(_money_is_written_in_full),
    Field(ge=0),
    WithJsonSchema({"type": "string", "pattern": r"^[+]?[0-9]*[.]?[0-9]+$"}),
]
Currency = Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
"""An ISO 4217 code."""

NO_CONTROLS = r"^[^\x00-\x1f\x7f]*$"
HIGHEST_INDEX = 5.0
"""Refractive index that no optical material reaches: germanium has 4.003 at 10.6 um and 4.1 at 2 um. From memory."""

Name = Annotated[str, Field(min_length=1, max_length=60, pattern=NO_CONTROLS)]
Text = Annotated[str, Field(max_length=2000, pattern=NO_CONTROLS)]
Pointer = Annotated[str, Field(pattern=r"^(/[^/]*)*$", max_length=200)]
"""A JSON pointer (RFC 6901)."""


class Fault:
    """One thing wrong with a document, found where two of its fields are held against each other.

    `where` is the place below the model that found it; `figure`, `limit` and `remedy` say what stands there,
    what would be allowed and what would do.
    """

    def __init__(self, *where: str | int, reason: str, figure: Any, limit: Any, remedy: str) -> None:
        self.where = where
        self.reason = reason
        self.figure = figure
        self.limit = limit
        self.remedy = remedy

    def as_detail(self) -> InitErrorDetails:
        context = {"figure": self.figure, "limit": self.limit, "remedy": self.remedy}
        return InitErrorDetails(type=PydanticCustomError("fault", escaped(self.reason), context), loc=self.where, input=self.figure)


def refuse_if_any(model: BaseModel, faults: list[Fault]) -> None:
    """Raise one `ValidationError` that names every fault at its own place; no faults, no error."""
    if faults:
        raise ValidationError.from_exception_data(type(model).__name__, [fault.as_detail() for fault in faults])


def escaped(text: str) -> str:
    """A sentence as pydantic takes it for a template."""
    return text.replace("{", "(").replace("}", ")")


def canonical_json(document: BaseModel) -> bytes:
    """JSON in the order of the contract's fields, without spaces, money as decimal strings: the same document, the same bytes."""
    return document.model_dump_json(by_alias=True).encode()
