"""What explains a quote that an earlier release made by other laws: its own figures, each as it was quoted.

To work such a quote out again gives today's figures, which are not those the customer was told. Nothing else of the earlier laws is
kept than the quote itself: the minutes, yields and charges of its operations stand there with the rows they rested on.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from services.optics.law import given
from shared_schemas.figure import Figure
from shared_schemas.quote import Break, ExplainedBreak, Explanation, QuoteBody

SOURCE = "as it was quoted: an earlier release worked it out by its own laws. Requote to have it explained by today's"
TOLD = ("unit_price", "total_price")
OF_ITS_WAYS = {"routes", "blanks", "tooling"}
"""What a quantity has of its own where it is made in another way carries what explains it."""


def explains(explanation: Explanation, body: QuoteBody) -> bool:
    """Whether an explanation comes to the prices that were quoted."""
    return len(explanation.breaks) == len(body.breaks) and all(
        _told(explained) == tuple(getattr(quoted, name) for name in TOLD)
        for explained, quoted in zip(explanation.breaks, body.breaks, strict=True)
    )


def _told(explained: ExplainedBreak) -> tuple[Decimal, ...]:
    values = {figure.name: figure.value for figure in explained.figures}
    return tuple(Decimal(str(values[name])) for name in TOLD)


def as_quoted(body: QuoteBody) -> Explanation:
    """The figures of every quantity as they stand in a quote."""
    return Explanation(
        breaks=tuple(ExplainedBreak(quantity=one.quantity, figures=tuple(_figures(one, body.currency))) for one in body.breaks)
    )


def _figures(quoted: Break, currency: str) -> Iterator[Figure]:
    for way, value in _leaves(quoted.model_dump(exclude=OF_ITS_WAYS)):
        shown = value.isoformat() if isinstance(value, date) else value
        yield given(" ".join(way), shown, currency if isinstance(value, Decimal) else "", source=SOURCE)


def _leaves(value: Any, way: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every number, amount and day of a document, with the way to it."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _leaves(inner, (*way, str(name)))
    elif isinstance(value, (list, tuple)):
        for number, inner in enumerate(value):
            yield from _leaves(inner, (*way, str(number)))
    elif isinstance(value, (int, float, Decimal, date)) and not isinstance(value, bool):
        yield way, value
