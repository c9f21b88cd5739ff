"""A place in a quote: what stands there, what it is called, in which unit, and what the quote itself says of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from jsonpointer import JsonPointer, JsonPointerException

from services.optics.law import LONGEST_NAME, unit_by_name
from services.quoting.errors import PointerNamesNoFigure
from shared_schemas.figure import Figure, RateRowRef

MONEY = frozenset(
    {
        "unit_price", "total_price", "amount", "planned", "p50", "p80", "p95", "spares_value", "cost", "charge", "consumables",
        "lot_charge", "saving", "saving_per_unit", "tools_spared", "total_payable",
    }
)  # fmt: skip
NAMES_SHOWN = 12


@dataclass(frozen=True)
class Place:
    """A pointer into a quote as JSON, and what stands there."""

    pointer: str
    document: Mapping[str, Any]

    @cached_property
    def tokens(self) -> tuple[str, ...]:
        """The names and positions on the way."""
        return tuple(JsonPointer(self.pointer).parts)

    @cached_property
    def value(self) -> Any:
        """What stands there."""
        return self.at(*self.tokens)

    @property
    def name(self) -> str:
        """The field, or for an item of a list the list."""
        last = self.tokens[-1]
        return self.tokens[-2] if last.isdecimal() and len(self.tokens) > 1 else last

    def at(self, *tokens: str) -> Any:
        """What stands at another place of the quote, which must be there."""
        return JsonPointer.from_parts(tokens).resolve(self.document)

    def owners(self) -> Sequence[Mapping[str, Any]]:
        """The objects that the place lies in, from the nearest outwards."""
        around = (self.at(*self.tokens[:depth]) for depth in range(len(self.tokens) - 1, 0, -1))
        return [owner for owner in around if isinstance(owner, dict)]

    def of(self, figure: Figure) -> Figure:
        """A figure under the name of this place, with the value that the quote has for it."""
        changes = {"name": self.name[:LONGEST_NAME], "value": self.value, "unit": figure.unit or self.unit}
        return figure.model_copy(update=changes)

    def explained_by(
        self, *, source: str | None = None, reason: str | None = None, inputs: Sequence[Figure] = (), unit: str | None = None,
        rate_row: RateRowRef | None = None,
    ) -> Figure:  # fmt: skip
        """The figure of this place, with where it is from or why it was decided."""
        return Figure(
            name=self.name[:LONGEST_NAME], value=self.value, unit=self.unit if unit is None else unit, source=source, reason=reason,
            inputs=tuple(inputs), rate_row=rate_row,
        )  # fmt: skip

    @property
    def unit(self) -> str:
        """The unit by the name of the field; that of money is the quote's currency."""
        return str(self.document.get("currency", "")) if self.name in MONEY else unit_by_name(self.name)


def place_at(pointer: str, document: Mapping[str, Any]) -> Place:
    """The place of a pointer; raises `PointerNamesNoFigure` where it leads nowhere."""
    if not pointer.startswith("/"):
        raise PointerNamesNoFigure(pointer, "it must begin with / and name a place", names_below(document))
    try:
        steps = JsonPointer(pointer)
    except JsonPointerException:
        raise PointerNamesNoFigure(pointer, "it is no JSON pointer (RFC 6901)", names_below(document)) from None
    here: Any = document
    for depth, token in enumerate(steps.parts):
        try:
            here = steps.walk(here, token)
        except JsonPointerException:
            on_the_way = JsonPointer.from_parts(steps.parts[:depth]).path or "/"
            raise PointerNamesNoFigure(pointer, f"there is no {token} in {on_the_way}", names_below(here)) from None
    return Place(pointer, document)


def names_below(value: Any) -> str:
    """The first names or positions that stand in an object or a list."""
    names = list(value) if isinstance(value, dict) else []
    if isinstance(value, list):
        names = [str(number) for number in range(len(value))]
    shown = names[:NAMES_SHOWN]
    return ", ".join([*shown, "…"] if len(names) > len(shown) else shown)


def basis_in(owner: Mapping[str, Any]) -> tuple[Figure, ...]:
    """The basis that an object of the quote carries."""
    return tuple(Figure.model_validate(one) for one in owner.get("basis") or ())
