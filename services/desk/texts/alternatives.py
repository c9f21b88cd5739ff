"""What of a quote could be otherwise: looser tolerances and plates in hand that save, and ways to have it sooner."""

from __future__ import annotations

from rich.console import RenderableType
from rich.text import Text

from services.desk.texts.page_parts import cells, in_days, listed, money, section, table_with
from shared_schemas.lead_times import SoonerOffer
from shared_schemas.place import face_of, place_of
from shared_schemas.quote import Break, CombinedSaving, QuoteBody, QuotedOffer, QuotedRelaxation

SHOWN = 12
"""Of the relaxations no more than these are shown: the rest save little and stand in the JSON."""


def savings(body: QuoteBody) -> list[RenderableType]:
    """The relaxations that save most, those five together, and every offer of a test plate."""
    return [*_relaxations(body), *listed("Radii near a test plate in hand", [_offer(one, body) for one in body.offers or ()])]


def _relaxations(body: QuoteBody) -> list[RenderableType]:
    if not body.relaxations:
        return []
    table = table_with("tolerance", "where", ">from", ">to", ">of", ">saves a piece", ">days", "which means")
    for one in body.relaxations[:SHOWN]:
        table.add_row(
            *cells(
                one.tolerance.replace("_", " "),
                str(place_of(one.where, body.prescription)),
                f"{one.from_figure:g}",
                f"{one.to_figure:g} {one.unit}",
                f"{one.quantity:,}",
                money(one.saving_per_unit),
                str(one.days_saved),
                _means(one),
            )
        )
    parts = section("What looser tolerances would save", table)
    left = len(body.relaxations) - SHOWN
    if left > 0:
        parts.append(Text(f"And {left} that save less; see them with --json."))
    if body.best_relaxations is not None:
        parts.append(Text(_together(body.best_relaxations)))
    return parts


def _means(one: QuotedRelaxation) -> str:
    return f"{one.means}; charged once" if one.charged_once else one.means


def _together(best: CombinedSaving) -> str:
    days = f" and {best.days_saved} days" if best.days_saved else ""
    return f"The best {len(best.tolerances)} granted together save {money(best.saving_per_unit)} a piece{days}, at {best.quantity:,} pieces."


def _offer(one: QuotedOffer, body: QuoteBody) -> str:
    """`L2 back: R 36.4 → 36.52, plate owned; …`, as a designer reads it."""
    places = ", ".join(str(face_of(where, body.prescription)) for where in (one.where, *one.also))
    sooner = f", {one.days_saved} days sooner" if one.days_saved else ""
    return (
        f"{places}: R {one.from_radius_mm:g} → {one.to_radius_mm:g}, plate owned. The focal length changes by "
        f"{one.focal_length_change_mm:+.3f} mm ({one.focal_length_change_share:+.2%}); saves {money(one.saving)} once, "
        f"{money(one.saving_per_unit)} a piece of {one.quantity:,}{sooner}."
    )


IN_TIME = {"yes": "yes", "with_expedite": "yes, with", "with_changes": "yes, with", "no": "no"}


def sooner(body: QuoteBody) -> list[RenderableType]:
    """The expedites that are offered, and the answer to the day by which the lenses are needed."""
    return [
        *_expedites(body),
        *_single_offers(body),
        *listed(
            "Other work that would be later", [_moves(one, offer) for one in body.breaks for offer in one.sooner if offer.moves]
        ),
        *listed("In time", [_in_time(one) for one in body.breaks if one.in_time is not None]),
    ]


def _expedites(body: QuoteBody) -> list[RenderableType]:
    offered = [one for one in body.breaks if one.expedite is not None]
    if not offered:
        return []
    table = table_with(">quantity", ">for all", ">half in", ">8 in 10", ">9 in 10", ">ships", ">sooner")
    for one in offered:
        offer = one.expedite
        assert offer is not None
        table.add_row(
            *cells(
                f"{one.quantity:,}",
                money(offer.cost),
                *in_days(offer.p50_days, offer.p80_days, offer.p90_days),
                str(offer.ship_date),
                *in_days(offer.days_saved),
            )
        )
    return section("Sooner, if it goes first and overtime is worked", table)


def _single_offers(body: QuoteBody) -> list[RenderableType]:
    """What would bring each quantity nearer by itself."""
    offered = [(one.quantity, offer) for one in body.breaks for offer in one.sooner]
    if not offered:
        return []
    table = table_with(">quantity", "with", ">for all of it", ">ships", ">days sooner")
    for quantity, offer in offered:
        table.add_row(*cells(f"{quantity:,}", offer.what, money(offer.cost), str(offer.ship_date), str(offer.days_saved)))
    return section("Sooner, by one thing alone", table)


def _moves(one: Break, offer: SoonerOffer) -> str:
    """`25: A-7 3 days later (2027-01-08), …`; nothing of it is done by itself."""
    orders = ", ".join(
        f"{order.order} {order.days} day{'' if order.days == 1 else 's'} later{f' ({order.ship_date})' if order.ship_date else ''}"
        for order in offer.moves
    )
    return f"{one.quantity:,}: {orders}. Nobody moves them but the shop."


def _in_time(one: Break) -> str:
    verdict = IN_TIME[one.in_time or "no"]
    ways = "; or ".join(one.in_time_with)
    answer = "; ".join(("no", *one.in_time_with)) if one.in_time == "no" else f"{verdict}{f' {ways}' if ways else ''}"
    chance = "" if one.in_time_chance is None else f" As quoted, {one.in_time_chance:.0%} of such orders are there by then."
    return f"{one.quantity:,}: {answer}.{chance}"
