"""When a quote in which somebody overrode a figure needs a second key: a margin below its floor, a chance of a loss above its limit.

Prices that are the rates' own need none: whoever published the rates answers for them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

from services.quoting.pricing.overridden.reached import margin_of_lines
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.lead_times import Line
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import CommercialRow


class Priced(Protocol):
    """A quantity with its price, line by line, and the chance of a loss."""

    @property
    def quantity(self) -> int: ...

    @property
    def lines(self) -> Sequence[Line]: ...

    @property
    def loss_chance(self) -> float | None: ...

    @property
    def margin_share(self) -> float | None: ...


def margin_reached(lines: Sequence[Line]) -> float:
    """What a price leaves when cost, overhead and contingency are paid, as a share of what of it is not for tools."""
    return margin_of_lines(lines)


def margin_left(one: Priced) -> float:
    """The margin that a quantity says it reaches; out of its lines where it says nothing."""
    return margin_reached(one.lines) if one.margin_share is None else one.margin_share


def needs_of_second_key(breaks: Sequence[Priced], request: QuoteRequest, terms: CommercialRow) -> Iterator[Finding]:
    """What of a quote is below the floor or above the limit of its terms, quantity by quantity; nothing where nobody overrode a figure."""
    if not request.overrides:
        return
    for place, one in enumerate(breaks):
        yield from _below_floor(f"/breaks/{place}", one, terms)
        yield from _above_limit(f"/breaks/{place}", one, terms)


def _below_floor(pointer: str, one: Priced, terms: CommercialRow) -> Iterator[Finding]:
    floor, reached = terms.margin_floor_share, margin_left(one)
    if floor is None or reached >= floor:
        return
    yield finding(
        "margin-below-floor",
        pointer,
        f"At {one.quantity} pieces the margin reached is {reached:.1%} of the price, below the floor of {floor:.1%}.",
        figure=round(reached, 6),
        limit=floor,
        row=terms.name,
        remedy="a higher price, or the approval of somebody else (POST /v1/quotes/{number}/approvals)",
    )


def _above_limit(pointer: str, one: Priced, terms: CommercialRow) -> Iterator[Finding]:
    limit, chance = terms.loss_chance_limit, one.loss_chance
    if limit is None or chance is None or chance <= limit:
        return
    yield finding(
        "loss-chance-above-limit",
        pointer,
        f"At {one.quantity} pieces cost and overhead pass the price with a chance of {chance:.1%}, above the limit of {limit:.1%}.",
        figure=chance,
        limit=limit,
        row=terms.name,
        remedy="a higher price, or the approval of somebody else (POST /v1/quotes/{number}/approvals)",
    )


NEEDS_SECOND_KEY = ("margin-below-floor", "loss-chance-above-limit")
"""The findings of a quote that is neither accepted nor given out before somebody else approved it."""
