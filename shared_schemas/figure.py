"""A figure that explains itself: its value and unit, the formula, what went in, the rate row it rests on."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from operator import not_
from typing import Annotated

from pydantic import Field, WithJsonSchema

from shared_schemas.base import Contract, Name, Pointer, Text


class RateRowRef(Contract):
    """Which row of which rate table a figure was taken from, and what the row says of its own origin."""

    table: Name
    row: Name
    source: Text
    as_of: date


class Figure(Contract):
    """One figure; an empty field is left out of its JSON.

    `formula` is the equation by which it was worked out, in the names of the inputs; a test holds every formula against the function
    that gave the value. `reason` says in words why a figure was decided that no equation gives, with the alternatives as inputs.
    A leaf stands in `rate_row`, or at another place of the same quote (`at`, a JSON pointer), or is from `source`; one that says
    nothing is a column of the rate row that the figure above it quotes.
    """

    name: Name
    value: Annotated[float | int | Decimal | str, WithJsonSchema({"anyOf": [{"type": "number"}, {"type": "string"}]})]
    # A quote carries thousands of figures; what is empty is left out of their JSON.
    unit: str = Field("", exclude_if=not_)
    formula: Text | None = Field(None, exclude_if=not_)
    reason: Text | None = Field(None, exclude_if=not_)
    inputs: tuple[Figure, ...] = Field((), exclude_if=not_)
    rate_row: RateRowRef | None = Field(None, exclude_if=not_)
    at: Pointer | None = Field(None, exclude_if=not_)
    source: Text | None = Field(None, exclude_if=not_)


class PointedFigure(Figure):
    """The figure that stands at a place of a quote, named by a JSON pointer (RFC 6901)."""

    pointer: Annotated[str, Field(pattern=r"^(/[^/]*)*$", max_length=400)]
