"""What to buy for n blanks: pieces, price ladder, minimum order, charges, and the cheapest source at each number.

Costs never fall when n rises: where a price break makes more glass cheaper than less, more is bought.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from itertools import accumulate

from shared_schemas.rates import StockFormRow

EXACT_LOTS = 32
"""Up to this many pieces every lot is a step of its own."""

COARSER_BY = 16
"""Beyond, the next lot is a sixteenth larger, and what lies between is charged as that lot: at most 6.25 % too much, never too little."""


@dataclass(frozen=True)
class Source:
    """A form of stock as it serves one blank: blanks out of a piece, mass of a piece [g]."""

    stock: StockFormRow
    blanks_per_piece: int
    piece_mass_g: float


@dataclass(frozen=True)
class Lot:
    """One purchase: so many pieces of a source, good for so many blanks, at this cost (base currency)."""

    source: Source
    pieces: int
    blanks: int
    bought_mass_g: float
    price_per_kg: Decimal
    cost: Decimal


def rounded_up(amount: Decimal, minor_units: int) -> Decimal:
    """An amount to pay, in whole minor units, upwards: 0.001 -> 0.01, 2.00 -> 2.00. A price never becomes zero."""
    return amount.quantize(Decimal(1).scaleb(-minor_units), rounding=ROUND_CEILING)


def lot_of(*, source: Source, pieces: int, minor_units: int) -> Lot:
    """What a number of pieces costs: bought mass times the ladder's price for it, lot charge and mould charge."""
    mass_g = pieces * source.piece_mass_g
    mass_kg = Decimal(repr(round(mass_g, 3))) / 1000
    price = next(
        (step.price_per_kg for step in reversed(source.stock.prices) if Decimal(repr(step.from_kg)) <= mass_kg),
        source.stock.prices[0].price_per_kg,
    )
    cost = mass_kg * price + source.stock.lot_charge + source.stock.mould_charge
    return Lot(source, pieces, pieces * source.blanks_per_piece, mass_g, price, rounded_up(cost, minor_units))


def lots_of(*, source: Source, up_to_blanks: int, minor_units: int) -> tuple[Lot, ...]:
    """Lots of one source by rising number, each the cheapest that has at least so many blanks; the last has `up_to_blanks`.

    Notes: every number of pieces up to `EXACT_LOTS`, then coarser; lots that just reach a price step or the minimum
    order are always among them, so that buying up to a price break is seen.
    """
    least = _pieces_for_kg(source.stock.minimum_kg, source)
    numbers = set(_grid(math.ceil(up_to_blanks / source.blanks_per_piece)))
    numbers.update(_pieces_for_kg(step.from_kg, source) for step in source.stock.prices)
    wanted = sorted({max(number, least) for number in numbers})
    lots = [lot_of(source=source, pieces=pieces, minor_units=minor_units) for pieces in wanted]
    cheapest = list(accumulate(reversed(lots), _cheaper))
    return tuple(_without_doubles(reversed(cheapest)))


def cheapest_lots(*, sources: Sequence[Source], up_to_blanks: int, minor_units: int) -> tuple[Lot, ...]:
    """The cheapest lot for any number of blanks: that for n is the first one with `blanks` >= n.

    Of equal cost the shorter lead time wins, then the name of the stock. Costs rise strictly from lot to lot.
    """
    columns = [lots_of(source=source, up_to_blanks=up_to_blanks, minor_units=minor_units) for source in sources]
    numbers = sorted({lot.blanks for column in columns for lot in column})
    places = [0] * len(columns)
    chosen: list[Lot] = []
    for number in numbers:
        offers = []
        for place, column in enumerate(columns):
            while places[place] < len(column) and column[places[place]].blanks < number:
                places[place] += 1
            if places[place] < len(column):
                offers.append(column[places[place]])
        best = min(offers, key=lambda lot: (lot.cost, lot.source.stock.lead_days, lot.source.stock.name))
        chosen.append(best)
        if number >= up_to_blanks:
            break
    return tuple(_without_doubles(chosen))


def lot_for(*, lots: Sequence[Lot], blanks: int) -> Lot:
    """The lot out of rising lots that serves a number of blanks; the last one where none is large enough."""
    return next((lot for lot in lots if lot.blanks >= blanks), lots[-1])


def _cheaper(larger: Lot, lot: Lot) -> Lot:
    return lot if lot.cost < larger.cost else larger


def _grid(up_to: int) -> list[int]:
    numbers, number = [], 1
    while number < up_to:
        numbers.append(number)
        number += max(1, number // COARSER_BY) if number >= EXACT_LOTS else 1
    return [*numbers, max(1, up_to)]


def _pieces_for_kg(mass_kg: float, source: Source) -> int:
    return max(1, math.ceil(round(mass_kg * 1000 / source.piece_mass_g, 9)))


def _without_doubles(lots: Iterable[Lot]) -> list[Lot]:
    """Each lot once; where two cost the same, the one with more blanks stands for both."""
    kept: list[Lot] = []
    for lot in lots:
        if kept and lot.cost == kept[-1].cost:
            if lot.blanks > kept[-1].blanks:
                kept[-1] = lot
        else:
            kept.append(lot)
    return kept
