"""From cost to a price whose lines add up to it exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.quoting.domain.money import changed, price_step, rounded, rounded_up
from services.quoting.errors import FigureOutOfRange
from shared_schemas.quote import Line
from shared_schemas.rates import CommercialRow, CurrencyRow


@dataclass(frozen=True)
class CostSums:
    """What a quantity costs before overhead, in the base currency."""

    material: Decimal
    operations: Decimal
    bought_parts: Decimal

    @property
    def total(self) -> Decimal:
        """Everything together."""
        return self.material + self.operations + self.bought_parts


@dataclass(frozen=True)
class Markups:
    """What is put on the cost, in the base currency."""

    overhead: Decimal
    contingency: Decimal
    margin: Decimal


@dataclass(frozen=True)
class Price:
    """A price in the currency of the quote; `lines` add up to `total`, and `unit` times the quantity is `total`."""

    unit: Decimal
    total: Decimal
    step: Decimal
    markups: Markups
    lines: tuple[Line, ...]

    @property
    def before_rounding(self) -> Decimal:
        """Sum of the lines without the last, which is the rounding."""
        return sum_of(self.lines[:-1])


def markups(cost: Decimal, terms: CommercialRow) -> Markups:
    """Overhead, contingency and margin on a cost.

    Notes:
        overhead = cost x overhead share; contingency = (cost + overhead) x contingency share;
        margin = (cost + overhead + contingency) x m / (1 - m), so that it is the share m of the price.

    Raises:
        FigureOutOfRange: a margin of 100 %, which no price reaches.
    """
    if not 0 <= terms.margin_share < 1:
        raise FigureOutOfRange("margin", terms.margin_share, "from 0 and below 1")
    overhead = cost * Decimal(repr(terms.overhead_share))
    contingency = (cost + overhead) * Decimal(repr(terms.contingency_share))
    share = Decimal(repr(terms.margin_share))
    return Markups(overhead, contingency, (cost + overhead + contingency) * share / (1 - share))


def priced(costs: CostSums, *, quantity: int, terms: CommercialRow, currency: CurrencyRow) -> Price:
    """Price of `quantity` lenses.

    Notes:
        Each line is changed to the currency and rounded by itself; what is missing to the minimum order is a line of its
        own; the unit price is rounded up to the step of the terms, and the last line is what that adds.

    Raises:
        FigureOutOfRange: a margin of 100 %, which no price reaches.
    """
    put_on = markups(costs.total, terms)
    lines = [
        Line(name="Glass", kind="material", amount=changed(costs.material, currency)),
        Line(name="Operations", kind="operations", amount=changed(costs.operations, currency)),
        Line(name="Bought parts", kind="bought_parts", amount=changed(costs.bought_parts, currency)),
        Line(name="Overhead", kind="overhead", amount=changed(put_on.overhead, currency)),
        Line(name="Contingency", kind="contingency", amount=changed(put_on.contingency, currency)),
        Line(name="Margin", kind="margin", amount=changed(put_on.margin, currency)),
    ]
    missing = changed(terms.minimum_order, currency) - sum_of(lines)
    if missing > 0:
        lines.append(Line(name="To the minimum order", kind="minimum_order", amount=missing))
    step = price_step(terms.rounding, currency)
    unit = rounded(rounded_up(sum_of(lines) / quantity, step=step), minor_units=currency.minor_units)
    total = unit * quantity
    lines.append(Line(name="Rounding", kind="rounding", amount=total - sum_of(lines)))
    return Price(unit, total, step, put_on, tuple(lines))


def sum_of(lines: Sequence[Line]) -> Decimal:
    """Sum of the amounts of lines."""
    return sum((line.amount for line in lines), Decimal(0))
