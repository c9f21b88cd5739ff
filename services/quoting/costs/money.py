"""Money: one way to round, one way to change currency."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from services.optics.law import law
from services.quoting.errors import CurrencyNotOfTheDay
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import CurrencyRow, Rates


def currency_on(day: date, code: str, rates: Rates) -> CurrencyRow:
    """The rate of a currency for the day of a quote; raises `RateMissing` without one, `CurrencyNotOfTheDay` for another day's."""
    row = rates.currency(code)
    if row.good_for_days is not None and not row.holds_on(day):
        raise CurrencyNotOfTheDay(code, as_of=row.as_of, good_for_days=row.good_for_days, day=day)
    return row


def rounded(amount: Decimal, *, minor_units: int) -> Decimal:
    """An amount to the minor unit of its currency, halves to the even neighbour.

    | amount | minor units | rounded |
    |---|---|---|
    | 2.345 | 2 | 2.34 |
    | 2.355 | 2 | 2.36 |
    | 2.5 | 0 | 2 |
    | -2.345 | 2 | -2.34 |
    | 1.00049 | 3 | 1.000 |
    """
    return amount.quantize(Decimal(1).scaleb(-minor_units), rounding=ROUND_HALF_EVEN)


def rounded_up(amount: Decimal, *, step: Decimal) -> Decimal:
    """The next multiple of `step` that is not below `amount`; raises `FigureOutOfRange` for a step of 0 or less."""
    if step <= 0:
        raise FigureOutOfRange("rounding step", float(step), "over 0")
    return (amount / step).to_integral_value(rounding=ROUND_CEILING) * step


@law
def price_step(*, rounding: Decimal, minor_units: int) -> Decimal:
    """The step that unit prices come in: the one of the terms, raised to a whole number of the currency's minor units.

    Equation: ceil(rounding * 10**minor_units) / 10**minor_units
    """
    return rounded_up(rounding, step=Decimal(1).scaleb(-minor_units))


@law
def converted(*, amount: Decimal, per_base: Decimal, minor_units: int) -> Decimal:
    """An amount of the base currency in another one, to its minor unit, halves to the even neighbour.

    Equation: round(amount * per_base, minor_units)
    """
    return rounded(amount * per_base, minor_units=minor_units)


def in_currency(amount: Decimal, currency: CurrencyRow) -> Decimal:
    """An amount of the base currency in the currency of a row, to its minor unit."""
    return converted(amount=amount, per_base=currency.per_base, minor_units=currency.minor_units)


@law
def total(*, amounts: Sequence[Decimal]) -> Decimal:
    """Several amounts together.

    Equation: sum(amounts)
    """
    return sum(amounts, Decimal(0))


@law
def per_piece(*, amount: Decimal, quantity: int) -> Decimal:
    """What falls on one of a quantity.

    Equation: amount / quantity
    """
    return amount / quantity


def exact(figure: float, *, places: int = 6) -> Decimal:
    """A measured figure as a decimal, so that money times minutes stays in decimals."""
    return Decimal(repr(round(figure, places)))


def apportioned(amounts: Sequence[Decimal], *, minor_units: int) -> tuple[Decimal, ...]:
    """Amounts to the minor unit that add up to their sum to the minor unit: none is a whole unit off.

    Notes:
        Each is rounded down, and the units that the rounded sum still has go one each to the largest remainders, of equal ones to
        the first.

    Source:
        The method of largest remainders: M. Balinski and H. P. Young, Fair Representation (1982), ch. 3. From memory.
    """
    step = Decimal(1).scaleb(-minor_units)
    shares = [amount.quantize(step, rounding=ROUND_FLOOR) for amount in amounts]
    left = int((rounded(sum(amounts, Decimal(0)), minor_units=minor_units) - sum(shares, Decimal(0))) / step)
    largest_first = sorted(range(len(amounts)), key=lambda place: shares[place] - amounts[place])
    for place in largest_first[:left]:
        shares[place] += step
    return tuple(shares)
