"""What lies behind the figures of one quantity: prices, costs, risk, days, pieces to start."""

from __future__ import annotations

from collections.abc import Sequence

from services.optics.law import LONGEST_NAME, given
from services.quoting.explain.basis_of_sooner import figure_of_set
from services.quoting.explain.places import Place
from services.quoting.risk.orders import DRAWS
from shared_schemas.figure import Figure

BY_THE_BREAK = "worked out with this quantity"
DRAWN = {
    "p50": "the cost of one lens that half of the draws stay at or below",
    "p80": "the cost of one lens that 80 of 100 draws stay at or below",
    "p95": "the cost of one lens that 95 of 100 draws stay at or below",
    "p80_in_time": "the cost of one lens that 80 of 100 of those draws stay at or below which are done by needed_by",
    "loss_chance": "share of the draws in which cost and overhead pass what the price leaves without its line of tools",
}
DAYS = {
    "ship_date": "the day of the quote and p90_days",
    "critical_path": "what the date waits for, from the first to the last",
    "in_time": "the ship date held against needed_by of the request, without and with an expedite",
    "in_time_chance": "share of the draws of the date that are done by needed_by of the request",
    "in_time_with": "what would bring the order in by needed_by, each worked out anew",
}


def figure_of_break(place: Place, figures: Sequence[Figure]) -> Figure:
    """The figure at a place below /breaks/{position}, out of the explained figures of that quantity."""
    own = " ".join(place.tokens[2:])[:LONGEST_NAME]
    figure = _named(figures, own)
    if figure is not None:
        return place.of(figure)
    of_set = figure_of_set(place)
    if of_set is not None:
        return of_set
    if own == "quantity":
        return place.explained_by(source="the request")
    if place.name in DRAWN:
        return place.explained_by(source=f"Monte Carlo: {DRAWN[place.name]}", inputs=_drawn_from(place, figures))
    return place.explained_by(source=DAYS.get(place.name, BY_THE_BREAK), inputs=_days(place) if place.name == "ship_date" else ())


def _named(figures: Sequence[Figure], name: str) -> Figure | None:
    return next((figure for figure in figures if figure.name == name), None)


def _drawn_from(place: Place, figures: Sequence[Figure]) -> tuple[Figure, ...]:
    at = f"/breaks/{place.tokens[1]}"
    spread = _named(figures, "unit_cost_spread")
    return (
        given("planned", place.at(*place.tokens[:2], "unit_cost", "planned"), place.unit, at=f"{at}/unit_cost/planned"),
        *([spread] if spread else []),
        given("draws", DRAWS, source="a Latin hypercube, the same draws for every quote"),
    )


def _days(place: Place) -> tuple[Figure, ...]:
    under = place.tokens[:-1]
    return (
        given("quoted_on", place.at("quoted_on"), at="/quoted_on"),
        given("p90_days", place.at(*under, "p90_days"), "days", at="/" + "/".join((*under, "p90_days"))),
    )
