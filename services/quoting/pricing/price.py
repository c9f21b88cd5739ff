"""From cost to a price whose lines add up to it exactly."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.optics.law import law
from services.quoting.costs.money import in_currency, price_step, rounded, rounded_up, total
from shared_schemas.lead_times import Line, LineKind
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import CommercialRow, CurrencyRow

NAMES: dict[LineKind, str] = {
    "material": "Glass",
    "operations": "Operations",
    "bought_parts": "Bought parts",
    "losses": "Losses beyond the pieces started, expected",
    "overhead": "Overhead",
    "contingency": "Contingency",
    "margin": "Margin",
    "tooling": "Tools, spread over the order",
    "minimum_order": "To the minimum order",
    "evening": "Evening of the price list",
    "deliveries": "Deliveries beyond the first",
    "rounding": "Rounding",
    "priority": "First in every queue",
    "overtime": "Overtime",
    "faster_glass": "Faster delivery of glass",
    "outside": "Work of an outside supplier",
    "discount": "Discount",
    "own_price": "To the price that was set",
}

LEFT_OVER: frozenset[LineKind] = frozenset({"evening", "margin", "minimum_order", "rounding", "discount", "own_price"})
"""Lines of a price that pay for nothing: what they come to is what the price leaves."""


@dataclass(frozen=True)
class CostSums:
    """What a quantity costs before overhead, in the base currency; `tooling` is what is spread over it of the charges for tools."""

    material: Decimal
    operations: Decimal
    bought_parts: Decimal
    losses: Decimal = Decimal(0)
    tooling: Decimal = Decimal(0)

    @property
    def total(self) -> Decimal:
        """Everything together, but for tools: their charges are prices already."""
        return cost_of(material=self.material, operations=self.operations, bought_parts=self.bought_parts, losses=self.losses)


@dataclass(frozen=True)
class Markups:
    """What is put on the cost, in the base currency."""

    overhead: Decimal
    contingency: Decimal
    margin: Decimal


@dataclass(frozen=True)
class Price:
    """A price in the currency of the quote; `lines` add up to `total`: `unit` times the quantity, and what is `beside` the lenses: spare parts, and deliveries beyond the first.

    `alone` is the unit price of this quantity by itself, before the price list is made even, `worked_out` the one before a discount or
    a price that was set.
    """

    unit: Decimal
    alone: Decimal
    total: Decimal
    step: Decimal
    markups: Markups
    lines: tuple[Line, ...]
    worked_out: Decimal
    beside: Decimal = Decimal(0)

    @property
    def of_lenses(self) -> Decimal:
        """What the lenses cost, without spare parts and deliveries beside them."""
        return self.total - self.beside


def markups(cost: Decimal, terms: CommercialRow, *, quantity: int) -> Markups:
    """Overhead, contingency and the margin of that quantity on a cost.

    Raises:
        FigureOutOfRange: a margin of 100 %, which no price reaches.
    """
    margin_share = terms.margin_at(quantity)
    if not 0 <= margin_share < 1:
        raise FigureOutOfRange("margin", margin_share, "from 0 and below 1")
    overhead = overhead_on(cost=cost, overhead_share=terms.overhead_share)
    contingency = contingency_on(cost=cost, overhead=overhead, contingency_share=terms.contingency_share)
    margin = margin_on(cost=cost, overhead=overhead, contingency=contingency, margin_share=margin_share)
    return Markups(overhead, contingency, margin)


@law
def overhead_on(*, cost: Decimal, overhead_share: float) -> Decimal:
    """What is put on a cost for everything that no operation pays.

    Equation: cost * overhead_share
    """
    return cost * Decimal(repr(overhead_share))


@law
def contingency_on(*, cost: Decimal, overhead: Decimal, contingency_share: float) -> Decimal:
    """What is put on cost and overhead for what nobody thought of.

    Equation: (cost + overhead) * contingency_share
    """
    return (cost + overhead) * Decimal(repr(contingency_share))


@law
def margin_on(*, cost: Decimal, overhead: Decimal, contingency: Decimal, margin_share: float) -> Decimal:
    """What is put on so that the margin is that share of the price.

    Equation: (cost + overhead + contingency) * margin_share / (1 - margin_share)
    """
    share = Decimal(repr(margin_share))
    return (cost + overhead + contingency) * share / (1 - share)


@law
def cost_of(*, material: Decimal, operations: Decimal, bought_parts: Decimal, losses: Decimal) -> Decimal:
    """Cost of a quantity before overhead; charges for tools are prices already.

    Equation: material + operations + bought_parts + losses
    """
    return material + operations + bought_parts + losses


@law
def evening_of(*, unit_price: Decimal, quantity: int, lines: Sequence[Decimal], minor_units: int) -> Decimal:
    """What brings the lines of a price to the unit price of the even price list.

    Equation: round(unit_price * quantity - sum(lines), minor_units)
    """
    return rounded(unit_price * quantity - sum(lines, Decimal(0)), minor_units=minor_units)


@law
def unit_price_of(*, lines: Sequence[Decimal], quantity: int, step: Decimal) -> Decimal:
    """Unit price: the lines over the quantity, raised to the step of the terms.

    Equation: ceil(sum(lines) / quantity / step) * step
    """
    return rounded_up(sum(lines, Decimal(0)) / quantity, step=step)


@law
def total_price_of(*, unit_price: Decimal, quantity: int) -> Decimal:
    """Price of the whole quantity.

    Equation: unit_price * quantity
    """
    return unit_price * quantity


@law
def evening_with_spares(
    *, unit_price: Decimal, quantity: int, spare_parts: Decimal, lines: Sequence[Decimal], minor_units: int
) -> Decimal:
    """What brings the lines of a price to the even price list, spare parts beside the lenses.

    Equation: round(unit_price * quantity + spare_parts - sum(lines), minor_units)
    """
    return rounded(unit_price * quantity + spare_parts - sum(lines, Decimal(0)), minor_units=minor_units)


@law
def unit_price_beside_spares(*, lines: Sequence[Decimal], spare_parts: Decimal, quantity: int, step: Decimal) -> Decimal:
    """Unit price of a lens: what spare parts leave of the lines, over the quantity, raised to the step of the terms.

    Equation: ceil((sum(lines) - spare_parts) / quantity / step) * step
    """
    return rounded_up((sum(lines, Decimal(0)) - spare_parts) / quantity, step=step)


@law
def total_with_spares(*, unit_price: Decimal, quantity: int, spare_parts: Decimal) -> Decimal:
    """Price of the whole quantity and of the spare parts beside it.

    Equation: unit_price * quantity + spare_parts
    """
    return unit_price * quantity + spare_parts


@law
def missing_to(*, whole: Decimal, lines: Sequence[Decimal]) -> Decimal:
    """What lines leave to a whole: to the minimum order, or to the rounded price.

    Equation: whole - sum(lines)
    """
    return whole - sum(lines, Decimal(0))


@law
def discounted_price(*, worked_out: Decimal, discount_share: Decimal, step: Decimal) -> Decimal:
    """Unit price less a discount, raised to the step of the terms.

    Equation: ceil(worked_out * (1 - discount_share) / step) * step
    """
    return rounded_up(worked_out * (1 - discount_share), step=step)


def priced(
    costs: CostSums, *, quantity: int, terms: CommercialRow, currency: CurrencyRow, evened: Decimal | None = None,
    discount_share: Decimal = Decimal(0), own_price: Decimal | None = None,
    spare_parts: Decimal = Decimal(0), spares_asked: Decimal = Decimal(0), deliveries: Decimal = Decimal(0),
) -> Price:  # fmt: skip
    """Price of `quantity` lenses.

    Args:
        evened: the unit price that the even price list has for the quantity, before it is rounded.
        discount_share: what comes off the price that is worked out.
        own_price: a unit price that was set, which holds whatever is worked out.
        spare_parts: what spare parts beside the lenses cost by the list, and `spares_asked` what is asked for them; their costs are in `costs`.
        deliveries: the charge for deliveries beyond the first, which is beside the lenses too and has a line of its own.

    Notes:
        Each line is changed to the currency and rounded by itself; what is missing to the minimum order is a line of its
        own; the unit price is rounded up to the step of the terms, and the last line but a discount or a price that was set is what
        that adds.

    Raises:
        FigureOutOfRange: a margin of 100 %, which no price reaches.
    """
    added = markups(costs.total, terms, quantity=quantity)
    amounts = _amounts(costs, added, terms, currency)
    step = price_step(rounding=terms.rounding, minor_units=currency.minor_units)
    alone = _unit(amounts, quantity, step, currency)
    beside, beside_asked = spare_parts + deliveries, spares_asked + deliveries
    amounts |= {"deliveries": deliveries} if deliveries else {}
    if evened is not None:
        evening = _evening(amounts, evened, quantity, beside, currency)
        amounts |= {"evening": evening} if evening else {}
    unit = _unit(amounts, quantity, step, currency, beside)
    whole = total_with_spares(unit_price=unit, quantity=quantity, spare_parts=beside)
    lines = [Line(name=NAMES[kind], kind=kind, amount=amount) for kind, amount in amounts.items()]
    lines.append(
        Line(name=NAMES["rounding"], kind="rounding", amount=missing_to(whole=whole, lines=[line.amount for line in lines]))
    )
    asked = _asked(unit, step, currency, discount_share, own_price)
    asked_for_all = total_with_spares(unit_price=asked, quantity=quantity, spare_parts=beside_asked)
    if asked_for_all != whole:
        kind: LineKind = "discount" if own_price is None else "own_price"
        less = missing_to(whole=asked_for_all, lines=[line.amount for line in lines])
        lines.append(Line(name=NAMES[kind], kind=kind, amount=less))
    alone = _asked(alone, step, currency, discount_share, None)
    return Price(asked, alone, asked_for_all, step, added, tuple(lines), worked_out=unit, beside=beside_asked)


def _evening(
    amounts: Mapping[LineKind, Decimal], evened: Decimal, quantity: int, spare_parts: Decimal, currency: CurrencyRow
) -> Decimal:
    lines = list(amounts.values())
    return evening_with_spares(
        unit_price=evened, quantity=quantity, spare_parts=spare_parts, lines=lines, minor_units=currency.minor_units
    )


def _asked(unit: Decimal, step: Decimal, currency: CurrencyRow, discount_share: Decimal, own_price: Decimal | None) -> Decimal:
    """The unit price that is asked in the place of one that was worked out."""
    if own_price is not None:
        return rounded(own_price, minor_units=currency.minor_units)
    if not discount_share:
        return unit
    return rounded(discounted_price(worked_out=unit, discount_share=discount_share, step=step), minor_units=currency.minor_units)


def unit_price(
    costs: CostSums, *, quantity: int, terms: CommercialRow, currency: CurrencyRow, discount_share: Decimal = Decimal(0)
) -> Decimal:
    """The unit price alone, less a discount, to compare many."""
    amounts = _amounts(costs, markups(costs.total, terms, quantity=quantity), terms, currency)
    step = price_step(rounding=terms.rounding, minor_units=currency.minor_units)
    return _asked(_unit(amounts, quantity, step, currency), step, currency, discount_share, None)


def exact_unit_price(costs: CostSums, *, quantity: int, terms: CommercialRow, currency: CurrencyRow) -> float:
    """The unit price before it is rounded to the step of the terms."""
    amounts = _amounts(costs, markups(costs.total, terms, quantity=quantity), terms, currency)
    return float(sum(amounts.values(), Decimal(0)) / quantity)


def _amounts(costs: CostSums, added: Markups, terms: CommercialRow, currency: CurrencyRow) -> dict[LineKind, Decimal]:
    """Amount of each line but the rounding."""
    amounts: dict[LineKind, Decimal] = {
        "material": in_currency(costs.material, currency),
        "operations": in_currency(costs.operations, currency),
        "bought_parts": in_currency(costs.bought_parts, currency),
        "losses": in_currency(costs.losses, currency),
        "overhead": in_currency(added.overhead, currency),
        "contingency": in_currency(added.contingency, currency),
        "margin": in_currency(added.margin, currency),
    }
    if costs.tooling:
        amounts["tooling"] = in_currency(costs.tooling, currency)
    missing = missing_to(whole=in_currency(terms.minimum_order, currency), lines=list(amounts.values()))
    return amounts | {"minimum_order": missing} if missing > 0 else amounts


def _unit(
    amounts: Mapping[LineKind, Decimal], quantity: int, step: Decimal, currency: CurrencyRow, spare_parts: Decimal = Decimal(0)
) -> Decimal:
    unit = unit_price_beside_spares(lines=list(amounts.values()), spare_parts=spare_parts, quantity=quantity, step=step)
    return rounded(unit, minor_units=currency.minor_units)


def sum_of(lines: Sequence[Line]) -> Decimal:
    """Sum of the amounts of lines."""
    return total(amounts=[line.amount for line in lines])
