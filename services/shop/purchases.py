"""What a purchase of glass costs, and how the figures of a step of a material model explain themselves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import ROUND_CEILING, Decimal

from services.optics.law import column, decided, figure_of, given, law
from shared_schemas.blanks import MaterialStep, PurchaseLine
from shared_schemas.figure import Figure, RateRowRef
from shared_schemas.rates import Rates, StockFormRow

SAWING_PLAN = "the plan of the sawing: fewest pieces, or the minimum order or a price step where that costs less"
BILLIONTH = Decimal("1e-9")
UNSAWN = "the plan of the sawing: what stays whole"


@law
def bought_amount(
    *, charged_kg: Decimal, price_per_kg: Decimal, lot_charge: Decimal, mould_charge: Decimal, remnant_credit: Decimal, unsawn_kg: Decimal
) -> Decimal:  # fmt: skip
    """Exact amount of a purchase: its glass at the price of its size, the charges, less what the remnant is worth.

    Equation: charged_kg * price_per_kg + lot_charge + mould_charge - remnant_credit * price_per_kg * unsawn_kg
    Source: derived; remnants at a share of their price are common practice.
    """
    return charged_kg * price_per_kg + lot_charge + mould_charge - remnant_credit * price_per_kg * unsawn_kg


@law
def owned_amount(*, used_kg: Decimal, price_per_kg: Decimal, value_share: Decimal) -> Decimal:
    """Exact amount that glass of the store is charged at: what is sawn off, at the share of its price that a remnant is worth.

    Equation: used_kg * price_per_kg * value_share
    Source: derived; common practice.
    """
    return used_kg * price_per_kg * value_share


@law
def graded_price_per_kg(*, price_per_kg: Decimal, grade_factor: Decimal) -> Decimal:
    """Price of a kilogram of graded glass.

    Equation: price_per_kg * grade_factor
    Source: common practice.
    """
    return price_per_kg * grade_factor


@law
def charge_with_certificate(*, lot_charge: Decimal, certificate_charge: Decimal) -> Decimal:
    """What is paid once for a lot of graded glass.

    Equation: lot_charge + certificate_charge
    Source: common practice.
    """
    return lot_charge + certificate_charge


@law
def graded_lead_days(*, lead_days: float, grade_days: float) -> float:
    """Days [days] until graded glass arrives: whole days more, upwards.

    Equation: lead_days + ceil(grade_days - 1e-9)
    Source: common practice.
    """
    return lead_days + math.ceil(grade_days - 1e-9)


@law
def charged_kg(*, pieces: int, piece_mass_g: float) -> Decimal:
    """Mass [kg] of pieces bought, each weighed to the milligram.

    Equation: pieces * floor(piece_mass_g * 1000 + 0.5) / 1000000
    Source: derived.
    """
    return pieces * Decimal(repr(round(piece_mass_g, 3))) / 1000


@law
def pieces_mass_g(*, pieces: int, piece_mass_g: float) -> float:
    """Mass [g] of some pieces.

    Equation: pieces * piece_mass_g
    Source: derived.
    """
    return pieces * piece_mass_g


@law
def bought_mass_g(*, masses_g: Sequence[float]) -> float:
    """Mass [g] of all pieces that a lot opens.

    Equation: sum(masses_g)
    Source: derived.
    """
    return sum(masses_g)


@law
def pieces_of_a_lot(*, pieces: Sequence[int]) -> int:
    """Number of all pieces that a lot opens.

    Equation: sum(pieces)
    Source: derived.
    """
    return sum(pieces)


@law
def lot_cost(*, amounts: Sequence[Decimal], minor_units: int) -> Decimal:
    """Amounts of one lot together, in whole minor units, upwards: 0.001 -> 0.01, 2.00 -> 2.00. A price never becomes zero.

    Equation: ceil(sum(amounts) * 10**minor_units - 1e-9) / 10**minor_units
    Notes: a billionth of a minor unit is what a share without an end (a third of a piece) leaves in the last digit.
    Source: common practice.
    """
    units = sum(amounts, Decimal(0)).scaleb(minor_units) - BILLIONTH
    return units.to_integral_value(rounding=ROUND_CEILING).scaleb(-minor_units)


@law
def cost_of_lots(*, costs: Sequence[Decimal]) -> Decimal:
    """What several lots cost together.

    Equation: sum(costs)
    Source: derived.
    """
    return sum(costs, Decimal(0))


def figures_of_step(*, step: MaterialStep, rates: Rates) -> tuple[Figure, ...]:
    """Every number of a step of a material model, under the name of its field."""
    if not step.purchases:
        return (given("cost", step.cost, rates.base_currency, source="the material model, which names no purchases"),)
    lines = [(line, rates.stock_form(line.stock)) for line in step.purchases]
    return (
        cost_figure(lines=step.purchases, rates=rates),
        given("blanks", step.blanks, source="the plan of the purchases: the most blanks of every member that this lot serves"),
        figure_of(pieces_of_a_lot, name="pieces", pieces=[_pieces(line) for line, _ in lines]),
        figure_of(
            bought_mass_g,
            masses_g=[figure_of(pieces_mass_g, pieces=_pieces(line), piece_mass_g=_piece_mass(line)) for line, row in lines],
        ),
        decided(
            "lead_days",
            step.lead_days,
            "the longest of the lead times of the pieces; those in the store have none",
            unit="days",
            alternatives=[
                given("lead_days", 0.0, "days", source="a piece in the store") if line.owned else _lead_days(line, row)
                for line, row in lines
            ],
        ),
    )


def cost_figure(*, lines: Sequence[PurchaseLine], rates: Rates, name: str = "cost") -> Figure:
    """The cost of what is bought, down to the amount of every line; lines for other members are another lot, rounded for itself."""
    lots: dict[tuple[str, ...], list[PurchaseLine]] = {}
    for line in lines:
        lots.setdefault(line.members, []).append(line)
    figures = [_lot_figure(lot, rates) for lot in lots.values()]
    if len(figures) == 1:
        return figures[0].model_copy(update={"name": name})
    return figure_of(cost_of_lots, name=name, unit=rates.base_currency, costs=figures)


def _lot_figure(lines: Sequence[PurchaseLine], rates: Rates) -> Figure:
    currency = rates.currency(rates.base_currency)
    return figure_of(
        lot_cost,
        unit=currency.name,
        amounts=[amount_figure(line=line, row=rates.stock_form(line.stock), currency=currency.name) for line in lines],
        minor_units=column("minor_units", currency.minor_units, "", Rates.ref("currencies", currency)),
    )


def amount_figure(*, line: PurchaseLine, row: StockFormRow, currency: str) -> Figure:
    """The exact amount of pieces bought, or of what is sawn off a piece in the store."""
    ref = Rates.ref("stock_forms", row)
    price = _price_per_kg(line, f"{currency}/kg", ref if line.owned else None)
    if line.owned:
        used = given("used_kg", line.used_kg, "kg", source="the plan of the sawing: what is sawn off the pieces in the store")
        return figure_of(owned_amount, name="amount", unit=currency, used_kg=used, price_per_kg=price, value_share=_value(row))
    return figure_of(
        bought_amount,
        name="amount",
        unit=currency,
        rate_row=ref,
        charged_kg=figure_of(charged_kg, pieces=_pieces(line), piece_mass_g=_piece_mass(line)),
        price_per_kg=price,
        lot_charge=_lot_charge(line, row, currency),
        mould_charge=given("mould_charge", row.mould_charge, currency),
        remnant_credit=given("remnant_credit", Decimal(repr(row.remnant_credit))),
        unsawn_kg=given("unsawn_kg", line.unsawn_kg, "kg", source=UNSAWN),
    )


GRADED = "the grades of the glass that the drawing asks for, as told of the blank"


def _price_per_kg(line: PurchaseLine, unit: str, ref: RateRowRef | None) -> Figure:
    def stated(amount: Decimal) -> Figure:
        return given("price_per_kg", amount, unit) if ref is None else column("price_per_kg", amount, unit, ref)

    if line.grade_factor == 1:
        return stated(line.price_per_kg)
    factor = given("grade_factor", line.grade_factor, source=GRADED)
    return figure_of(
        graded_price_per_kg,
        name="price_per_kg",
        unit=unit,
        price_per_kg=stated(line.price_per_kg / line.grade_factor),
        grade_factor=factor,
    )


def _lot_charge(line: PurchaseLine, row: StockFormRow, currency: str) -> Figure:
    charge = given("lot_charge", row.lot_charge, currency)
    if not line.certificate_charge:
        return charge
    certificate = given("certificate_charge", line.certificate_charge, currency, source=GRADED)
    return figure_of(charge_with_certificate, name="lot_charge", unit=currency, lot_charge=charge, certificate_charge=certificate)


def _lead_days(line: PurchaseLine, row: StockFormRow) -> Figure:
    days = column("lead_days", row.lead_days, "days", Rates.ref("stock_forms", row))
    if not line.grade_days:
        return days
    return figure_of(
        graded_lead_days, name="lead_days", lead_days=days, grade_days=given("grade_days", line.grade_days, "days", source=GRADED)
    )


def _value(row: StockFormRow) -> Figure:
    credit = column("value_share", Decimal(repr(row.remnant_credit)), "", Rates.ref("stock_forms", row))
    if row.remnant_credit:
        return credit
    reason = "the row states no remnant_credit, and no glass is free: it is charged at its full price"
    return decided("value_share", Decimal(1), reason, alternatives=[credit])


def _pieces(line: PurchaseLine) -> Figure:
    return given("pieces", line.pieces, source=SAWING_PLAN)


def _piece_mass(line: PurchaseLine) -> Figure:
    return given(
        "piece_mass_g", line.piece_mass_g, "g", source="sizes of the row at the density of the glass, as told of the blank"
    )
