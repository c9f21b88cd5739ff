"""A figure that explains itself: its value and unit, the formula, what went in, the rate row it rests on."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from pydantic import SerializerFunctionWrapHandler, model_serializer

from shared_schemas.base import Contract, Name, Text


class RateRowRef(Contract):
    """Which row of which rate table a figure was taken from, and what the row says of its own origin."""

    table: Name
    row: Name
    source: Text
    as_of: date


class Figure(Contract):
    """One figure; an empty field is left out of its JSON. `formula` is written in the names of the inputs; a leaf has a rate row or a `source`, or is given."""

    name: Name
    value: float | int | Decimal | str
    unit: str = ""
    formula: Text | None = None
    inputs: tuple[Figure, ...] = ()
    rate_row: RateRowRef | None = None
    source: Text | None = None

    @model_serializer(mode="wrap")
    def _say_what_there_is(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """A quote carries thousands of figures; what is empty is left out of their JSON."""
        return {name: value for name, value in write(self).items() if value not in (None, "", (), [])}
