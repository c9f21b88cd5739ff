"""What spare parts cost beside the lenses: each what of it the even price list of the lenses pays for, and together no more than lenses that hold them.

The unit price of a lens is the same with them and without: 25 lenses and 5 spare L3 are 25 lenses at the price of 25, and 5 of L3 at what L3 costs
in an order for 30.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from services.optics.law import law
from services.quoting.costs.money import price_step, rounded, rounded_up, total
from services.quoting.pricing.planned import lots_needed
from services.quoting.pricing.plans import Plans, SpareLot
from services.quoting.pricing.price import discounted_price, total_price_of, unit_price_of
from services.quoting.pricing.price_list import evened_part_price, evened_unit_price
from shared_schemas.order_terms import OrderedSparePart, groups_by_name
from shared_schemas.quote_request import QuoteRequest


@dataclass(frozen=True)
class PricedSpares:
    """Spare parts of one quantity: what they are asked as, their prices by the list, and what all together may cost at most."""

    parts: tuple[PricedSpare, ...]
    lenses: int
    """An order for so many would hold them all."""
    lenses_total: Decimal
    larger_total: Decimal

    @property
    def most(self) -> Decimal:
        """What all of them may cost at most."""
        return most_for_spares(larger_total=self.larger_total, lenses_total=self.lenses_total)

    @property
    def amount(self) -> Decimal:
        """What all of them cost."""
        return total(amounts=[one.amount for one in self.parts])

    @property
    def worked_out(self) -> Decimal:
        """What all of them would cost without a discount."""
        return total(amounts=[spare_parts_amount(pieces=one.pieces, unit_price=one.worked_out) for one in self.parts])

    def as_ordered(self) -> tuple[OrderedSparePart, ...]:
        """As a quote says them."""
        return tuple(
            OrderedSparePart(part=one.part, pieces=one.pieces, unit_price=one.unit, amount=one.amount) for one in self.parts
        )


@dataclass(frozen=True)
class PricedSpare:
    """One kind of spare part: `listed` is its price in an order for `lenses`, `by_list` that to the minor unit, `worked_out` the price before a
    discount and `unit` what is asked."""

    part: str
    lot: str
    pieces: int
    lenses: int
    listed: Decimal
    by_list: Decimal
    worked_out: Decimal
    unit: Decimal

    @property
    def amount(self) -> Decimal:
        """What all of them cost."""
        return spare_parts_amount(pieces=self.pieces, unit_price=self.unit)


@law
def lenses_with_spares(*, quantity: int, pieces: int, count: int) -> int:
    """For how many lenses a lot is that gives spare parts besides, `count` of the part in each lens.

    Equation: quantity + ceil(pieces / count)
    """
    return quantity + math.ceil(pieces / count)


@law
def spare_part_price(*, listed: Decimal, step: Decimal) -> Decimal:
    """What a spare part costs by the price list, raised to the minor unit of the currency.

    Equation: ceil(listed / step) * step
    """
    return rounded_up(listed, step=step)


@law
def spare_parts_amount(*, pieces: int, unit_price: Decimal) -> Decimal:
    """What spare parts of one kind cost.

    Equation: pieces * unit_price
    """
    return pieces * unit_price


@law
def most_for_spares(*, larger_total: Decimal, lenses_total: Decimal) -> Decimal:
    """What spare parts may cost together: no more than what an order that holds them costs above the lenses.

    Equation: max(larger_total - lenses_total, 0)
    """
    return max(larger_total - lenses_total, Decimal(0))


@law
def spare_part_price_at_most(*, by_list: Decimal, most: Decimal, amounts: Sequence[Decimal], step: Decimal) -> Decimal:
    """What a spare part costs where all by the list would be dearer than lenses that hold them: its share of what those cost.

    Equation: floor(by_list * most / sum(amounts) / step) * step
    """
    share = by_list * most / sum(amounts, Decimal(0)) / step
    return share.to_integral_value(rounding=ROUND_FLOOR) * step


def spare_lots(request: QuoteRequest, alike: Mapping[str, str]) -> tuple[SpareLot, ...]:
    """The spare parts of a request, each with the lot that it is made in: of what is alike the first of its kind."""

    def first(name: str) -> str:
        return alike.get(name, name)

    groups = {called: "+".join(map(first, names)) for called, names in groups_by_name(request.prescription).items()}
    return tuple(SpareLot(one.part, groups.get(one.part, first(one.part)), one.pieces) for one in request.spares)


def priced_spares(plans: Plans, quantity: int) -> PricedSpares | None:
    """The spare parts of a quantity with their prices; `None` where none are asked for."""
    if not plans.spare_parts:
        return None
    step = minor_step(plans)
    counts = lots_needed(plans.routes, 1)
    held = {lot: _held(quantity, pieces, counts[lot]) for lot, pieces in plans.spares_asked.items()}
    lenses = lenses_that_hold(plans, quantity)
    listed = {lot: evened_part_price(plans, lot, number) for lot, number in held.items()}
    by_list = {lot: spare_part_price(listed=price, step=step) for lot, price in listed.items()}
    lenses_total, larger_total = listed_total(plans, quantity), listed_total(plans, lenses)
    most = most_for_spares(larger_total=larger_total, lenses_total=lenses_total)
    amounts = amounts_by_list(plans, by_list)
    asked = by_list
    if sum(amounts, Decimal(0)) > most:
        asked = {
            lot: spare_part_price_at_most(by_list=price, most=most, amounts=amounts, step=step) for lot, price in by_list.items()
        }
    discount = plans.discount_at(quantity)
    units = {lot: discounted_price(worked_out=price, discount_share=discount, step=step) for lot, price in asked.items()}
    parts = tuple(
        PricedSpare(one.part, one.lot, one.pieces, held[one.lot], listed[one.lot], by_list[one.lot], asked[one.lot], units[one.lot])
        for one in plans.spare_parts
    )
    return PricedSpares(parts, lenses, lenses_total, larger_total)


def lenses_that_hold(plans: Plans, quantity: int) -> int:
    """An order for so many lenses holds the spare parts besides: an element that is asked for by itself and in a group is held twice."""
    counts, taken = lots_needed(plans.routes, 1), lots_needed(plans.routes, 0, plans.spares_asked)
    return max(_held(quantity, pieces, counts[lot]) for lot, pieces in taken.items())


def amounts_by_list(plans: Plans, by_list: Mapping[str, Decimal]) -> list[Decimal]:
    """What each kind of spare part costs by the list, in the order in which they are asked for."""
    return [spare_parts_amount(pieces=one.pieces, unit_price=by_list[one.lot]) for one in plans.spare_parts]


def _held(quantity: int, pieces: int, count: int) -> int:
    return lenses_with_spares(quantity=quantity, pieces=pieces, count=count)


def minor_step(plans: Plans) -> Decimal:
    """The minor unit of the currency."""
    return Decimal(1).scaleb(-plans.currency.minor_units)


def listed_total(plans: Plans, quantity: int) -> Decimal:
    """The price of so many lenses by the even list, their unit price raised to the step of the terms, before a discount."""
    minor_units = plans.currency.minor_units
    lines = [rounded(evened_unit_price(plans.usual, quantity) * quantity, minor_units=minor_units)]
    step = price_step(rounding=plans.terms.rounding, minor_units=minor_units)
    unit = rounded(unit_price_of(lines=lines, quantity=quantity, step=step), minor_units=minor_units)
    return total_price_of(unit_price=unit, quantity=quantity)
