"""From cost to a price whose lines add up to it exactly."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.quoting.costs.money import changed, price_step, rounded, rounded_up
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.quote import Line, LineKind
from shared_schemas.rates import CommercialRow, CurrencyRow

NAMES: dict[LineKind, str] = {
    "material": "Glass",
    "operations": "Operations",
    "bought_parts": "Bought parts",
    "overhead": "Overhead",
    "contingency": "Contingency",
    "margin": "Margin",
    "tooling": "Tools, spread over the order",
    "minimum_order": "To the minimum order",
    "rounding": "Rounding",
    "priority": "First in every queue",
    "overtime": "Overtime",
    "faster_glass": "Faster delivery of glass",
}


@dataclass(frozen=True)
class CostSums:
    """What a quantity costs before overhead, in the base currency; `tooling` is what is spread over it of the charges for tools."""

    material: Decimal
    operations: Decimal
    bought_parts: Decimal
    tooling: Decimal = Decimal(0)

    @property
    def total(self) -> Decimal:
        """Everything together, but for tools: their charges are prices already."""
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


def markups(cost: Decimal, terms: CommercialRow, *, quantity: int) -> Markups:
    """Overhead, contingency and the margin of that quantity on a cost.

    Notes:
        overhead = cost x overhead share; contingency = (cost + overhead) x contingency share;
        margin = (cost + overhead + contingency) x m / (1 - m), so that it is the share m of the price.

    Raises:
        FigureOutOfRange: a margin of 100 %, which no price reaches.
    """
    margin_share = terms.margin_at(quantity)
    if not 0 <= margin_share < 1:
        raise FigureOutOfRange("margin", margin_share, "from 0 and below 1")
    overhead = cost * Decimal(repr(terms.overhead_share))
    contingency = (cost + overhead) * Decimal(repr(terms.contingency_share))
    share = Decimal(repr(margin_share))
    return Markups(overhead, contingency, (cost + overhead + contingency) * share / (1 - share))


def priced(costs: CostSums, *, quantity: int, terms: CommercialRow, currency: CurrencyRow) -> Price:
    """Price of `quantity` lenses.

    Notes:
        Each line is changed to the currency and rounded by itself; what is missing to the minimum order is a line of its
        own; the unit price is rounded up to the step of the terms, and the last line is what that adds.

    Raises:
        FigureOutOfRange: a margin of 100 %, which no price reaches.
    """
    put_on = markups(costs.total, terms, quantity=quantity)
    amounts = _amounts(costs, put_on, terms, currency)
    step = price_step(terms.rounding, currency)
    unit = _unit(amounts, quantity, step, currency)
    total = unit * quantity
    lines = [Line(name=NAMES[kind], kind=kind, amount=amount) for kind, amount in amounts.items()]
    lines.append(Line(name=NAMES["rounding"], kind="rounding", amount=total - sum_of(lines)))
    return Price(unit, total, step, put_on, tuple(lines))


def unit_price(costs: CostSums, *, quantity: int, terms: CommercialRow, currency: CurrencyRow) -> Decimal:
    """The unit price alone, to compare many."""
    amounts = _amounts(costs, markups(costs.total, terms, quantity=quantity), terms, currency)
    return _unit(amounts, quantity, price_step(terms.rounding, currency), currency)


def _amounts(costs: CostSums, put_on: Markups, terms: CommercialRow, currency: CurrencyRow) -> dict[LineKind, Decimal]:
    """Amount of each line but the rounding."""
    found: dict[LineKind, Decimal] = {
        "material": changed(costs.material, currency),
        "operations": changed(costs.operations, currency),
        "bought_parts": changed(costs.bought_parts, currency),
        "overhead": changed(put_on.overhead, currency),
        "contingency": changed(put_on.contingency, currency),
        "margin": changed(put_on.margin, currency),
    }
    if costs.tooling:
        found["tooling"] = changed(costs.tooling, currency)
    missing = changed(terms.minimum_order, currency) - sum(found.values(), Decimal(0))
    return found | {"minimum_order": missing} if missing > 0 else found


def _unit(amounts: Mapping[LineKind, Decimal], quantity: int, step: Decimal, currency: CurrencyRow) -> Decimal:
    whole = sum(amounts.values(), Decimal(0))
    return rounded(rounded_up(whole / quantity, step=step), minor_units=currency.minor_units)


def sum_of(lines: Sequence[Line]) -> Decimal:
    """Sum of the amounts of lines."""
    return sum((line.amount for line in lines), Decimal(0))
