"""Why spare parts beside the lenses cost what they cost, and what they leave of the price for the lenses."""

from __future__ import annotations

from collections.abc import Iterator

from services.optics.law import figure_of, given
from services.quoting.explain.quantity import Quantity
from services.quoting.pricing.planned import lots_needed
from services.quoting.pricing.price import discounted_price
from services.quoting.pricing.price_list import evened_neighbours, evened_price
from services.quoting.pricing.spare_parts import (
    PricedSpare,
    PricedSpares,
    amounts_by_list,
    lenses_with_spares,
    minor_step,
    most_for_spares,
    spare_part_price,
    spare_part_price_at_most,
    spare_parts_amount,
)
from shared_schemas.figure import Figure

LISTED = "price list: what of that quantity, worked out alone, one of the part costs with what is put on, no dearer than in smaller ones, no total above that of the next"


def spare_figures(quantity: Quantity) -> Iterator[Figure]:
    """The unit price and the amount of every kind of spare part."""
    spares = quantity.evaluation.spares
    for place, one in enumerate(spares.parts if spares else ()):
        yield _unit_price(f"spare_parts {place} unit_price", one, place, quantity)
        yield figure_of(
            spare_parts_amount, name=f"spare_parts {place} amount", unit=quantity.currency, pieces=_pieces(place, one, quantity),
            unit_price=given("unit_price", one.unit, quantity.currency, at=quantity.at("spare_parts", place, "unit_price")),
        )  # fmt: skip


BESIDE = "the amounts of the spare parts, and the line of deliveries beyond the first"


def beside_the_lenses(quantity: Quantity) -> Figure:
    """What is beside the lenses in the price of a quantity, before a discount."""
    return given("spare_parts", quantity.evaluation.beside, quantity.currency, source=f"{BESIDE}, before a discount")


def _pieces(place: int, spare: PricedSpare, quantity: Quantity) -> Figure:
    return given("pieces", spare.pieces, "pieces", at=quantity.at("spare_parts", place, "pieces"))


def _unit_price(name: str, spare: PricedSpare, place: int, quantity: Quantity) -> Figure:
    step = given("step", minor_step(quantity.plans), quantity.currency, source="the minor unit of the currency")
    discount = quantity.plans.discount_at(quantity.evaluation.quantity)
    if not discount:
        return _worked_out(name, spare, place, step, quantity)
    return figure_of(
        discounted_price, name=name, unit=quantity.currency, worked_out=_worked_out("worked_out", spare, place, step, quantity),
        discount_share=given("discount_share", discount, source="set by an estimator: overrides of the request"), step=step,
    )  # fmt: skip


def _worked_out(name: str, spare: PricedSpare, place: int, step: Figure, quantity: Quantity) -> Figure:
    """What a spare part costs before a discount: by the list, or its share of what lenses cost that hold all of them."""
    spares = quantity.evaluation.spares
    assert spares is not None
    if spare.worked_out == spare.by_list:
        listed = _listed(spare, place, quantity)
        return figure_of(spare_part_price, name=name, unit=quantity.currency, listed=listed, step=step)
    by_list = figure_of(spare_part_price, name="by_list", unit=quantity.currency, listed=_listed(spare, place, quantity), step=step)
    prices = {one.lot: one.by_list for one in spares.parts}
    amounts = tuple(
        given(one.part, amount, quantity.currency, source="by the price list: pieces times what one costs by it")
        for one, amount in zip(spares.parts, amounts_by_list(quantity.plans, prices), strict=True)
    )
    return figure_of(
        spare_part_price_at_most, name=name, unit=quantity.currency, by_list=by_list, most=_most(spares, quantity), amounts=amounts, step=step
    )  # fmt: skip


def _most(spares: PricedSpares, quantity: Quantity) -> Figure:
    return figure_of(
        most_for_spares, name="most", unit=quantity.currency,
        larger_total=given("larger_total", spares.larger_total, quantity.currency, source=f"the price list: {spares.lenses} lenses, which hold the spare parts"),
        lenses_total=given("lenses_total", spares.lenses_total, quantity.currency, source="the price list: the lenses alone"),
    )  # fmt: skip


def _listed(spare: PricedSpare, place: int, quantity: Quantity) -> Figure:
    """What the part costs in the order that holds them, read from the price list between two quantities of its series."""
    (lower, lower_price), (upper, upper_price) = evened_neighbours(quantity.plans.usual, spare.lenses, spare.lot)
    count = lots_needed(quantity.plans.routes, 1)[spare.lot]
    lenses = figure_of(
        lenses_with_spares, name="quantity", quantity=quantity.number, pieces=_pieces(place, spare, quantity),
        count=given("count", count, source="how many of the part go into one lens"),
    )  # fmt: skip
    return figure_of(
        evened_price, name="listed", unit=quantity.currency,
        lower=given("lower", lower, "pieces", source="the series of quantities of the price list"),
        upper=given("upper", upper, "pieces", source="the series of quantities of the price list"),
        lower_price=given("lower_price", lower_price, quantity.currency, source=LISTED),
        upper_price=given("upper_price", upper_price, quantity.currency, source=LISTED),
        quantity=lenses,
    )  # fmt: skip
