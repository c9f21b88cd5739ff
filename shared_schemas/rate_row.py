"""What every row of a rate table has: a name, which is its key within the table, a source and a date."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import cached_property
from typing import Annotated, Any, Self

from pydantic import Field, StringConstraints

from shared_schemas.base import NO_CONTROLS, Contract, Name
from shared_schemas.figure import RateRowRef

Yield = Annotated[float, Field(strict=True, gt=0, le=1)]
Said = Annotated[str, StringConstraints(min_length=1, max_length=400, strip_whitespace=True, pattern=NO_CONTROLS)]

ADDED_BY_RELEASE = "added by release"
"""Stands in the source of a row that a release added or filled in, until an engineer has put a source of the shop's own to it."""


class RateRow(Contract):
    """What every row says of itself."""

    name: Name
    source: Said
    as_of: date

    def named_in(self, table: str) -> RateRowRef:
        """The reference to this row as one of a table."""
        found = self._references.get(table)
        if found is None:
            found = self._references[table] = RateRowRef(table=table, row=self.name, source=self.source, as_of=self.as_of)
        return found

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy, with fields replaced; references to the old row are forgotten."""
        fresh = super().model_copy(update=update, deep=deep)
        fresh.__dict__.pop("_references", None)
        return fresh

    @cached_property
    def _references(self) -> dict[str, RateRowRef]:
        return {}
