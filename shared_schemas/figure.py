"""A figure that explains itself: its value and unit, the formula, what went in, the rate row it rests on."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from shared_schemas.base import Contract, Name, Text


class RateRowRef(Contract):
    """Which row of which rate table a figure was taken from, and what the row says of its own origin."""

    table: Name
    row: Name
    source: Text
    as_of: date


class Figure(Contract):
    """One figure. `formula` is written in the names of the inputs; a leaf has a rate row or a `source`, or is given."""

    name: Name
    value: float | int | Decimal | str
    unit: str = ""
    formula: Text | None = None
    inputs: tuple[Figure, ...] = ()
    rate_row: RateRowRef | None = None
    source: Text | None = None
