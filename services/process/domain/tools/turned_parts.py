"""What a turned part of the mount costs: minutes from its size and metal, set-up, metal, finish."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from services.optics.law import column, decided, figure_of, given, law
from services.process.domain.route.knees import slowed_min
from services.process.domain.route.lines import counted_min, minutes_in_all
from services.process.domain.route.rate_rows import turning_of
from shared_schemas.figure import Figure
from shared_schemas.operations import BoughtPart
from shared_schemas.rates import MetalRow, Rates, TurningRow


@law
def outside_mm3(*, outer_mm: float, stock_mm: float, length_mm: float) -> float:
    """Metal [mm3] that is turned off a bar outside.

    Equation: pi / 4 * ((outer_mm + stock_mm) ** 2 - outer_mm ** 2) * length_mm
    """
    return math.pi / 4 * ((outer_mm + stock_mm) ** 2 - outer_mm**2) * length_mm


@law
def bored_mm3(*, bore_mm: float, length_mm: float) -> float:
    """Metal [mm3] that is bored out of a bar.

    Equation: pi / 4 * bore_mm ** 2 * length_mm
    """
    return math.pi / 4 * bore_mm**2 * length_mm


@law
def roughing_min(*, volume_mm3: float, removal_cm3_per_min: float) -> float:
    """Minutes [min] of roughing.

    Equation: volume_mm3 / 1000 / removal_cm3_per_min
    """
    return volume_mm3 / 1000 / removal_cm3_per_min


@law
def finishing_min(*, diameter_mm: float, length_mm: float, cutting_m_per_min: float, feed_mm: float, passes: float) -> float:
    """Minutes [min] of finishing passes over a cylinder.

    Equation: passes * pi * diameter_mm * length_mm / (1000 * cutting_m_per_min * feed_mm)
    Source: speed and feed of turning, common practice
    """
    return passes * math.pi * diameter_mm * length_mm / (1000 * cutting_m_per_min * feed_mm)


@law
def seats_min(*, seats: float, seat_min: float, usual_m_per_min: float, cutting_m_per_min: float) -> float:
    """Minutes [min] of seats and faces cut to size, more in proportion in a metal that is cut slower.

    Equation: seats * seat_min * usual_m_per_min / cutting_m_per_min
    """
    return seats * seat_min * usual_m_per_min / cutting_m_per_min


@law
def deep_bore_factor(*, length_mm: float, bore_mm: float, deep_from: float, deep_to: float, deep_slope: float) -> float:
    """Factor on the minutes of a bore that is deeper than usual for its diameter.

    Equation: 1 + deep_slope * (min(max(length_mm / bore_mm, deep_from), max(deep_to, deep_from)) - deep_from)
    """
    return 1 + deep_slope * (min(max(length_mm / bore_mm, deep_from), max(deep_to, deep_from)) - deep_from)


@law
def close_bore_factor(*, tolerance_mm: float, usual_tolerance_mm: float, tolerance_power: float) -> float:
    """Factor on the minutes of finishing a bore and its seats to a closer tolerance than usual.

    Equation: max(usual_tolerance_mm / tolerance_mm, 1) ** tolerance_power
    """
    return float(max(usual_tolerance_mm / tolerance_mm, 1.0) ** tolerance_power)


@law
def metal_price(*, outer_mm: float, stock_mm: float, length_mm: float, price_per_cm3: Decimal) -> Decimal:
    """Price of the bar that a part is turned from, to a ten-thousandth.

    Equation: round(pi / 4 * (outer_mm + stock_mm) ** 2 * length_mm / 1000 * price_per_cm3, 4)
    """
    return _to_ten_thousandth(math.pi / 4 * (outer_mm + stock_mm) ** 2 * length_mm / 1000 * float(price_per_cm3))


@law
def turned_price(*, minutes: float, rate_per_h: Decimal, metal: Decimal, finish: Decimal) -> Decimal:
    """Price of one turned part: its minutes, metal and finish, to a ten-thousandth.

    Equation: round(minutes / 60 * rate_per_h + metal + finish, 4)
    """
    return _to_ten_thousandth(minutes / 60 * float(rate_per_h) + float(metal) + float(finish))


@law
def turning_lot_charge(*, setup_min: float, rate_per_h: Decimal, finish: Decimal) -> Decimal:
    """What a lot of turned parts costs besides the parts: set-up, and the finish of the lot, to a ten-thousandth.

    Equation: round(setup_min / 60 * rate_per_h + finish, 4)
    """
    return _to_ten_thousandth(setup_min / 60 * float(rate_per_h) + float(finish))


@law
def lead_days_in_all(*, turning_days: float, metal_days: float) -> float:
    """Days [days] until a part is there: turning, and what its metal and finish take besides.

    Equation: turning_days + metal_days
    """
    return turning_days + metal_days


def _to_ten_thousandth(amount: float) -> Decimal:
    return Decimal(repr(round(amount, 4)))


@dataclass(frozen=True)
class TurnedShape:
    """A part to be turned: outer diameter, bore and length [mm], and where each stands; `holds` parts lie in it.

    `tolerance_mm` is the closest diameter that its bore takes, with where it stands; none for a part that is only cut to length.
    """

    outer: Figure
    bore: Figure
    length: Figure
    holds: int = 1
    tolerance: Figure | None = None


def turned_part(name: str, kind: str, metal: str, shape: TurnedShape, count: int, rates: Rates) -> BoughtPart:
    """A turned part with its prices; the finish of the lot is charged with the barrel, as all metal goes there together.

    Raises: RateMissing for a metal, or a kind of part, that the rates do not have.
    """
    row, stuff = turning_of(rates, kind), rates.metal(metal)
    of_row, of_metal = Rates.ref("turning", row), Rates.ref("metals", stuff)
    minutes = _minutes(shape, row, stuff, rates)
    rate = column("rate_per_h", row.rate_per_h, f"{rates.base_currency}/h", of_row)
    bar = figure_of(
        metal_price, name="metal", unit=rates.base_currency, rate_row=of_metal, outer_mm=shape.outer, stock_mm=given("stock_mm", row.stock_mm, "mm"),
        length_mm=shape.length, price_per_cm3=given("price_per_cm3", stuff.price_per_cm3, f"{rates.base_currency}/cm3"),
    )  # fmt: skip
    each = column(stuff.finish, stuff.finish_each, rates.base_currency, of_metal)
    price = figure_of(
        turned_price, name="unit_price", unit=rates.base_currency, minutes=minutes, rate_per_h=rate, metal=bar, finish=each
    )
    together = decided("finish", Decimal(0), "finished in one lot with the barrel", unit=rates.base_currency)
    lot = figure_of(
        turning_lot_charge, name="lot_charge", unit=rates.base_currency, setup_min=column("setup_min", row.setup_min, "min", of_row), rate_per_h=rate,
        finish=column(stuff.finish, stuff.finish_lot_charge, rates.base_currency, of_metal) if kind == "barrel" else together,
    )  # fmt: skip
    lead = figure_of(
        lead_days_in_all, name="lead_days", unit="days", turning_days=column("lead_days", row.lead_days, "days", of_row),
        metal_days=column("extra_lead_days", stuff.extra_lead_days, "days", of_metal),
    )  # fmt: skip
    return BoughtPart(
        name=name, count=count, lot_charge=Decimal(lot.value), unit_price=Decimal(price.value), lead_days=float(lead.value),
        basis=(price, lot, lead, given("count", count, source="the drawing: parts of this size in one lens")),
    )  # fmt: skip


def turned_mass_g(shape: TurnedShape, metal: MetalRow) -> float:
    """Mass of a turned part [g]."""
    outer, bore, length = (float(figure.value) for figure in (shape.outer, shape.bore, shape.length))
    return (bored_mm3(bore_mm=outer, length_mm=length) - bored_mm3(bore_mm=bore, length_mm=length)) / 1000 * metal.density_g_cm3


def _minutes(shape: TurnedShape, row: TurningRow, metal: MetalRow, rates: Rates) -> Figure:
    """Minutes of one part: outside, bore, seats, threads and loading."""
    of_row = Rates.ref("turning", row)
    each, count = given("minutes", row.thread_min, "min"), given("count", row.threads)
    threads = figure_of(counted_min, name="threads", unit="min", minutes=each, count=count)
    parts = [*_outside(shape, row, metal), *_bore(shape, row, metal), threads, given("load_min", row.load_min, "min")]
    return figure_of(minutes_in_all, name="minutes", unit="min", rate_row=of_row, parts_min=parts)


def _outside(shape: TurnedShape, row: TurningRow, metal: MetalRow) -> Iterator[Figure]:
    volume = figure_of(outside_mm3, outer_mm=shape.outer, stock_mm=given("stock_mm", row.stock_mm, "mm"), length_mm=shape.length)
    yield _roughed("outside, roughed", volume, metal)
    yield _finished("outside, finished", shape.outer, shape.length, row, metal)


def _bore(shape: TurnedShape, row: TurningRow, metal: MetalRow) -> Iterator[Figure]:
    """The bore and its seats; a deep bore, and one to a close tolerance, take longer by their factors."""
    volume = figure_of(bored_mm3, bore_mm=shape.bore, length_mm=shape.length)
    deep = figure_of(
        deep_bore_factor, unit="", length_mm=shape.length, bore_mm=shape.bore, deep_from=given("deep_from", row.deep_from),
        deep_to=given("deep_to", row.deep_to), deep_slope=given("deep_slope", row.deep_slope),
    )  # fmt: skip
    seats = figure_of(
        seats_min, name="seats", unit="min", seats=given("seats", row.seats * shape.holds, source="seats for each part that lies in it"),
        seat_min=given("seat_min", row.seat_min, "min"), usual_m_per_min=given("usual_m_per_min", row.usual_m_per_min, "m/min"),
        cutting_m_per_min=_speed(metal),
    )  # fmt: skip
    yield _slowed(_roughed("bore, roughed", volume, metal), deep)
    finished = _slowed(_finished("bore, finished", shape.bore, shape.length, row, metal), deep)
    if shape.tolerance is None:
        yield from (finished, seats)
        return
    close = figure_of(
        close_bore_factor, unit="", tolerance_mm=shape.tolerance, usual_tolerance_mm=given("usual_tolerance_mm", row.usual_tolerance_mm, "mm"),
        tolerance_power=given("tolerance_power", row.tolerance_power),
    )  # fmt: skip
    yield from (_slowed(finished, close), _slowed(seats, close))


def _slowed(minutes: Figure, factor: Figure) -> Figure:
    return figure_of(slowed_min, name=minutes.name, unit="min", minutes=minutes, time_factor=factor)


def _speed(metal: MetalRow) -> Figure:
    return column("cutting_m_per_min", metal.cutting_m_per_min, "m/min", Rates.ref("metals", metal))


def _roughed(name: str, volume: Figure, metal: MetalRow) -> Figure:
    removal = column("removal_cm3_per_min", metal.removal_cm3_per_min, "cm3/min", Rates.ref("metals", metal))
    return figure_of(roughing_min, name=name, unit="min", volume_mm3=volume, removal_cm3_per_min=removal)


def _finished(name: str, diameter: Figure, length: Figure, row: TurningRow, metal: MetalRow) -> Figure:
    return figure_of(
        finishing_min, name=name, unit="min", diameter_mm=diameter, length_mm=length, cutting_m_per_min=_speed(metal),
        feed_mm=given("feed_mm", row.feed_mm, "mm"), passes=given("passes", row.passes),
    )  # fmt: skip
