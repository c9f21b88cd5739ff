"""What lies behind the figures of one quantity: prices, costs, risk, days, pieces to start."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from services.quoting.explain.places import Place, given, named
from services.quoting.risk.draws import DRAWS
from shared_schemas.figure import Figure

Figures = Sequence[Figure]

BY_THE_BREAK = "worked out with this quantity"
P_OF_COST = {
    "p50": "the cost of one lens that half of the draws stay at or below",
    "p80": "the cost of one lens that 80 of 100 draws stay at or below",
    "p95": "the cost of one lens that 95 of 100 draws stay at or below",
}

EXPEDITE_LINES: dict[str, tuple[str, tuple[str, ...]]] = {
    "overhead": ("surcharges x overhead_share x per_base", ("surcharges", "overhead_share")),
    "contingency": (
        "surcharges x (1 + overhead_share) x contingency_share x per_base",
        ("surcharges", "overhead_share", "contingency_share"),
    ),
    "margin": (
        "surcharges x (1 + overhead_share) x (1 + contingency_share) x margin_share / (1 - margin_share) x per_base",
        ("surcharges", "overhead_share", "contingency_share", "margin_share"),
    ),
}
"""Formulas of the lines that are put on the surcharges of an expedite, and what goes into them; the others are surcharges themselves."""


def figure_of_break(place: Place, figures: Figures) -> Figure:
    """The figure at a place below /breaks/{position}, out of the explained figures of that quantity."""
    head = place.tokens[2]
    return _BY_FIELD.get(head, _of_itself)(place, figures)


def _of_itself(place: Place, figures: Figures) -> Figure:
    found = named(figures, place.name)
    return place.figure(source=BY_THE_BREAK) if found is None else _as_told(place, found)


def _as_told(place: Place, found: Figure) -> Figure:
    """A figure of the explanation under the name and with the value that the quote has for it."""
    return place.figure(formula=found.formula, inputs=found.inputs, source=found.source, rate_row=found.rate_row)


def _from(place: Place, figures: Figures, formula: str, *names: str, more: Sequence[Figure] = ()) -> Figure:
    """The figure by a formula whose inputs stand in the explanation by name."""
    found = (named(figures, name) for name in names)
    return place.figure(formula=formula, inputs=[*(one for one in found if one is not None), *more])


def _quantity(place: Place, figures: Figures) -> Figure:
    return given(place)


def _line(place: Place, figures: Figures) -> Figure:
    kind = place.owner(4)["kind"]
    found = named(figures, f"line {kind}")
    return place.figure(source=BY_THE_BREAK) if found is None else _as_told(place, found)


def _unit_cost(place: Place, figures: Figures) -> Figure:
    if place.name == "planned":
        return _from(place, figures, "unit_cost, in whole minor units", "unit_cost")
    return _from(place, figures, P_OF_COST[place.name], "unit_cost", "unit_cost_spread", more=_draws(place))


def _draws(place: Place) -> tuple[Figure, ...]:
    seed = Figure(name="seed", value="digest of request, rates and day", source="the same for the same request, rates and day")
    return (Figure(name="draws", value=DRAWS, source="Monte Carlo, stratified"), seed)


def _lead_time(place: Place, figures: Figures) -> Figure:
    if place.name == "critical_path":
        return _from(place, figures, "what the date waits for, from the first to the last", "lead_time")
    if place.name == "p50_days":
        return _as_told(place, named(figures, "lead_time") or Figure(name="lead_time", value=place.value))
    if place.name == "p90_days":
        return _from(place, figures, "wait_days, then p90_h of working hours by the calendar", "wait_days", "p90_h")
    return _from(place, figures, "quoted_on + p90_days", more=_ship_day(place, "lead_time"))


def _ship_day(place: Place, *under: str) -> tuple[Figure, ...]:
    head = place.tokens[:2]
    return place.input("quoted_on", "quoted_on"), place.input("p90_days", *head, *under, "p90_days")


def _start(place: Place, figures: Figures) -> Figure:
    starts = named(figures, "start_quantities")
    return _as_told(place, named(starts.inputs if starts else (), place.name) or Figure(name="start", value=place.value))


def _material(place: Place, figures: Figures) -> Figure:
    need = place.owner(4)
    if place.name not in ("quantity", "cost"):
        return place.figure(source=BY_THE_BREAK)
    line = named(figures, "line material" if need["kind"] == "glass" else "line bought_parts")
    per_base = named(figures, "per_base")
    purchases = line.inputs[0].inputs if line else ()
    place_in_line = int(place.tokens[3]) - (
        0 if need["kind"] == "glass" else sum(one["kind"] == "glass" for one in place.at(*place.tokens[:3]))
    )
    purchase = purchases[place_in_line : place_in_line + 1]
    if place.name == "cost":
        amount = purchase[0].name if purchase else "amount"
        return place.figure(formula=f"{amount} x per_base", inputs=[*purchase, *([per_base] if per_base else [])])
    if need["kind"] == "glass":
        return place.figure(unit="g", formula="pieces x mass of a piece, of the lots that give enough blanks", inputs=purchase)
    return place.figure(unit="piece", formula="lenses x count", inputs=purchase[0].inputs[:2] if purchase else ())


def _spares(place: Place, figures: Figures) -> Figure:
    if place.tokens[2] == "spares_value":
        text = "sum over the parts of their spares x what a good piece of them has cost, x per_base"
        return _from(
            place,
            figures,
            text,
            "per_base",
            more=tuple(place.input(part, *place.tokens[:2], "spares", part) for part in place.owner(2)["spares"]),
        )
    starts = named(figures, "start_quantities")
    start = named(starts.inputs if starts else (), place.name)
    return place.figure(formula="expected good pieces beyond what is needed: sum over k of P(k good) x max(k - needed, 0)",
                        inputs=(start,) if start else ())  # fmt: skip


def _enough(place: Place, figures: Figures) -> Figure:
    return _from(
        place,
        figures,
        "product over the parts of the chance that nothing of them is made again, every loss counted",
        "start_quantities",
    )


def _loss(place: Place, figures: Figures) -> Figure:
    spread = named(figures, "line tooling")
    text = f"share of the draws in which cost x (1 + overhead_share) passes the price{' less its line of tools' if spread else ''}"
    more = (*((spread,) if spread else ()), *_draws(place))
    return _from(place, figures, text, "unit_cost_spread", "overhead_share", "total_price", more=more)


def _driver(place: Place, figures: Figures) -> Figure:
    driver = place.owner(4)
    return _from(
        place, figures, f"variance of the cost by {driver['operation']} over the variance of the whole", "unit_cost_spread"
    )


def _expedite(place: Place, figures: Figures) -> Figure:
    under = place.tokens[3]
    if under == "lines":
        kind = str(place.owner(5)["kind"])
        text, names = EXPEDITE_LINES.get(kind, (f"{kind} x per_base", (kind,)))
        expedite = named(figures, "expedite")
        return _from(place, expedite.inputs if expedite else figures, text, *names, "per_base")
    if under == "cost":
        return _as_told(place, named(figures, "expedite") or Figure(name="expedite", value=place.value))
    if under == "days_saved":
        days = (
            place.input("as quoted", *place.tokens[:2], "lead_time", "p90_days"),
            place.input("expedited", *place.tokens[:3], "p90_days"),
        )
        return place.figure(formula="as quoted - expedited, of p90_days, which set the ship dates", inputs=days)
    if under == "ship_date":
        return _from(place, figures, "quoted_on + p90_days of the expedite", "expedite_days", more=_ship_day(place, "expedite"))
    formula = "as lead_time, with the shares of an expedite"
    return _from(place, figures, formula, "expedite_days", "lead_time")


def _in_time(place: Place, figures: Figures) -> Figure:
    return _from(
        place,
        figures,
        "ship_date held against needed_by of the request, without and with an expedite",
        "lead_time",
        "expedite_days",
    )


_BY_FIELD: dict[str, Callable[[Place, Figures], Figure]] = {
    "quantity": _quantity,
    "lines": _line,
    "unit_cost": _unit_cost,
    "lead_time": _lead_time,
    "start_quantities": _start,
    "materials": _material,
    "spares": _spares,
    "spares_value": _spares,
    "enough_chance": _enough,
    "loss_chance": _loss,
    "risk_drivers": _driver,
    "expedite": _expedite,
    "in_time": _in_time,
    "in_time_with": _in_time,
}
