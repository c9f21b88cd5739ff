"""Why an offer that brings a quantity nearer costs what it costs and gains what it gains, down to rate rows, purchases and the book of load."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from services.optics.law import column, figure_of, given
from services.quoting.costs.money import total
from services.quoting.costs.suppliers import Shipment, outside_cost, shipment_charge
from services.quoting.explain.basis_of_cost import markup_figures
from services.quoting.explain.basis_of_risk import faster_figures, overtime_figure, priority_figure
from services.quoting.explain.places import Place
from services.quoting.explain.quantity import Quantity
from services.quoting.pricing.nearer.moving_work import LEAST_FREE_SHARE, Displaced, free_h_per_week, slip_days
from services.quoting.pricing.nearer.single_offers import Offered, single_offers
from services.quoting.pricing.quoted_money import converted_figure
from services.quoting.promise.lead_time import days_saved
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates

BOOK = "the book of load that the quote is dated by"


def sooner_figures(quantity: Quantity) -> Iterator[Figure]:
    """The figures of every offer, by the way to them in the break, such as `sooner 0 cost`."""
    for number, offered in enumerate(single_offers(quantity.evaluation, quantity.plans)):
        name = f"sooner {number}"
        yield from _price(quantity, offered, number)
        then = Figure(
            name="days_then", value=offered.days_then, unit="days",
            source="the whole order drawn again with this alone: every path, wait and lot made again", inputs=tuple(_means(quantity, offered)),
        )  # fmt: skip
        yield figure_of(
            days_saved, name=f"{name} days_saved", days_then=then,
            days_as_quoted=given("days_as_quoted", offered.days_as_quoted, "days", at=quantity.at("lead_time", "p90_days")),
        )  # fmt: skip
        yield Figure(
            name=f"{name} ship_date", value=offered.ship_date.isoformat(), source="the day of the quote and days_then", inputs=(then,)
        )  # fmt: skip
        for place, displaced in enumerate(offered.displaced):
            yield _slip(displaced, f"{name} moves {place} days")


def _price(quantity: Quantity, offered: Offered, number: int) -> Iterator[Figure]:
    surcharge = _surcharge(quantity, offered)
    in_base = {offered.kind: surcharge, **markup_figures(quantity, surcharge)}
    lines = []
    for place, line in enumerate(offered.lines):
        yield converted_figure(in_base[line.kind], quantity.plans, name=f"sooner {number} lines {place} amount")
        lines.append(given(line.kind, line.amount, quantity.currency, at=quantity.at("sooner", number, "lines", place, "amount")))
    if lines:
        yield figure_of(total, name=f"sooner {number} cost", unit=quantity.currency, amounts=lines)
    elif offered.kind == "moving_work":
        yield Figure(
            name=f"sooner {number} cost", value=offered.cost, unit=quantity.currency,
            source="work that is moved costs those days who wait for it; the shop decides",
        )  # fmt: skip
    else:
        yield converted_figure(surcharge, quantity.plans, name=f"sooner {number} cost")


def _surcharge(quantity: Quantity, offered: Offered) -> Figure:
    """What it costs more before overhead, in the base currency."""
    if offered.kind == "priority":
        return priority_figure(quantity)
    if offered.kind == "overtime":
        return overtime_figure(quantity)
    if offered.kind == "faster_glass":
        bought = [figure for one in offered.means.purchases for figure in faster_figures(one.glass, quantity.base)]
        return figure_of(total, name="faster_glass", unit=quantity.base, amounts=bought)
    shipments = offered.means.shipments
    saved = [
        given(one.part, amount, quantity.base, source="what the operation costs in the shop, which falls away")
        for one in shipments for amount in one.saved
    ]  # fmt: skip
    return figure_of(
        outside_cost, name=offered.kind, unit=quantity.base,
        charges=figure_of(total, name="charges", unit=quantity.base, amounts=[_charge(quantity, one) for one in shipments]),
        saved=figure_of(total, name="saved", unit=quantity.base, amounts=saved),
    )  # fmt: skip


def _charge(quantity: Quantity, shipment: Shipment) -> Figure:
    row = Rates.ref("outside_work", shipment.row)
    first = shipment.places[0]
    return figure_of(
        shipment_charge, name=shipment.part, unit=quantity.base,
        lot_charge=column("lot_charge", shipment.row.lot_charge, quantity.base, row),
        pieces=given("pieces", shipment.pieces, "pieces", source=f"pieces that reach operation {first + 1} of its route"),
        faces=given("faces", len(shipment.places), source="operations of the route that are done in one sending"),
        piece_charge=column("piece_charge", shipment.row.piece_charge, quantity.base, row),
    )  # fmt: skip


def _means(quantity: Quantity, offered: Offered) -> Iterator[Figure]:
    """What is otherwise than in the quoted date."""
    terms, means = quantity.plans.terms, offered.means
    if means.goes_first:
        yield quantity.term("expedite_queue_share", terms.expedite_queue_share or 0.0)
    if means.overtime:
        yield quantity.term("overtime_hours_share", terms.overtime_hours_share or 0.0)
    for purchase in means.purchases:
        yield given(
            f"glass {purchase.glass.glass}",
            purchase.glass.lead_days,
            "days",
            source="its faster delivery, of its row of stock_forms",
        )
    for shipment in means.shipments:
        yield column(f"lead_days of {shipment.part}", shipment.row.lead_days, "days", Rates.ref("outside_work", shipment.row))
    for displaced in offered.displaced:
        yield given(f"moved at {displaced.work_centre}", displaced.hours, "h", source=f"hours that give way, of {BOOK}")


def _slip(displaced: Displaced, name: str) -> Figure:
    week = displaced.weeks_after
    return figure_of(
        slip_days, name=name, unit="days",
        displaced_h=given("displaced_h", displaced.hours, "h", source=f"its hours at the {displaced.work_centre} in the weeks until this order has been there, of {BOOK}"),
        moved_before_h=given("moved_before_h", displaced.moved_before_h, "h", source="hours of the orders above it that are moved there too"),
        free_h_per_week=figure_of(
            free_h_per_week, unit="h",
            capacity_h=given("capacity_h", week.capacity_h, "h", source="mean hours of all stations in the weeks after this order"),
            load=given("load", week.load, source="of them what is booked and what the book does not yet show"),
            least_free_share=given("least_free_share", LEAST_FREE_SHARE, source="so much is taken to be free however full it is"),
        ),
    )  # fmt: skip


def figure_of_set(place: Place) -> Figure | None:
    """A figure of the cheapest set that is in time, `None` for another place."""
    under = place.tokens[:3]
    if len(place.tokens) < 4 or under[2] != "soonest_set":
        return None
    chosen: Sequence[int] = place.at(*under, "offers")
    costs = tuple(
        given(f"offer {number}", Decimal(place.at(*under[:2], "sooner", str(number), "cost")), place.unit,
              at=f"/breaks/{under[1]}/sooner/{number}/cost")
        for number in chosen
    )  # fmt: skip
    if place.tokens[3] == "cost":
        return place.of(figure_of(total, name="cost", amounts=costs))
    if place.tokens[3] == "ship_date":
        return place.explained_by(source="the whole order drawn again with all of these together; the day that nine of ten keep")
    return place.explained_by(
        reason="of the sets that ship by needed_by of the request the cheapest; those that move other work come last", inputs=costs
    )
