"""A place in a quote: what stands there, what it is called, and in which unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from services.optics.law import unit_by_name
from shared_schemas.figure import Figure, RateRowRef

MONEY = frozenset(
    {
        "unit_price", "total_price", "amount", "planned", "p50", "p80", "p95", "spares_value", "cost", "charge", "consumables",
        "lot_charge", "saving", "saving_per_unit",
    }
)  # fmt: skip

LONGEST_NAME = 60


@dataclass(frozen=True)
class Place:
    """Tokens of the pointer, what stands there, and the whole quote as JSON."""

    tokens: tuple[str, ...]
    value: Any
    document: Mapping[str, Any]

    @property
    def name(self) -> str:
        """The field, or for an item of a list the list."""
        last = self.tokens[-1]
        return self.tokens[-2] if last.isdecimal() and len(self.tokens) > 1 else last

    def at(self, *tokens: str) -> Any:
        """What stands at another place of the quote, which must be there."""
        here: Any = self.document
        for token in tokens:
            here = here[int(token)] if isinstance(here, list) else here[token]
        return here

    def owner(self, depth: int) -> Mapping[str, Any]:
        """The object that so many tokens lead to."""
        found: Mapping[str, Any] = self.at(*self.tokens[:depth])
        return found

    def figure(
        self, *, formula: str | None = None, inputs: Iterable[Figure] = (), source: str | None = None, unit: str | None = None,
        rate_row: RateRowRef | None = None,
    ) -> Figure:  # fmt: skip
        """The figure of this place, with what is said of it."""
        return Figure(
            name=self.name[:LONGEST_NAME],
            value=self.value,
            unit=self.unit if unit is None else unit,
            formula=None if formula is None else formula[:2000],
            inputs=tuple(inputs),
            source=None if source is None else source[:2000],
            rate_row=rate_row,
        )

    @property
    def unit(self) -> str:
        """The unit by the name of the field."""
        return unit_of(self.name, str(self.document.get("currency", "")))

    def input(self, name: str, *tokens: str, source: str | None = None) -> Figure:
        """Another figure of the quote as an input of this one: its value, and where it stands."""
        where = "/" + "/".join(tokens)
        value = self.at(*tokens)
        shown = "not stated" if value is None else ", ".join(map(str, value)) if isinstance(value, list) else value
        return Figure(
            name=name[:LONGEST_NAME],
            value=shown,
            unit=unit_of(tokens[-1], str(self.document.get("currency", ""))),
            source=source or f"{where} of this quote",
        )


def unit_of(name: str, currency: str) -> str:
    """The unit that a name ends with; that of money is the quote's currency."""
    if name in MONEY:
        return currency
    return unit_by_name(name)


def given(place: Place) -> Figure:
    """What the request states."""
    return place.figure(source="the request")


def named(figures: Sequence[Figure], name: str) -> Figure | None:
    """The figure of a name among some figures and their inputs; the outermost first."""
    for figure in figures:
        if figure.name == name:
            return figure
    for figure in figures:
        found = named(figure.inputs, name)
        if found is not None:
            return found
    return None


def basis_in(owner: Mapping[str, Any]) -> tuple[Figure, ...]:
    """The basis that an object of the quote carries."""
    return tuple(Figure.model_validate(one) for one in owner.get("basis", ()))
