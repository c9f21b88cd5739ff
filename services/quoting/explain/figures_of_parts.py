"""What lies behind the figures of blanks, operations, tools and bought parts: the basis that each carries."""

from __future__ import annotations

from services.quoting.explain.places import MONEY, Place, basis_in
from shared_schemas.figure import Figure, RateRowRef


def figure_of_element(place: Place) -> Figure:
    """A figure below /elements/{position}: of the blank, or of an operation."""
    if place.tokens[2] == "operations":
        return _operation(place, 4)
    if place.tokens[2] == "blank":
        return _blank(place)
    return place.figure(source="the request")


def figure_of_route(place: Place) -> Figure:
    """A figure below /assembly/{position}: of an operation, or how many parts are consumed."""
    if place.tokens[2] == "operations":
        return _operation(place, 4)
    return place.figure(source="the prescription: which elements are cemented, and that each lens has one of every part")


def figure_of_tooling(place: Place) -> Figure:
    """A figure below /tooling/{position}."""
    return of_tool(place, 2)


def figure_of_bought_part(place: Place) -> Figure:
    """A figure below /bought_parts/{position}."""
    basis = basis_in(place.owner(2))
    figure = next((one for one in basis if one.name == place.name), None)
    return place.figure(source="the operation plan") if figure is None else _as_in_basis(place, figure)


def of_tool(place: Place, depth: int) -> Figure:
    """A figure of a tool that is to be made: charge and lead time stand in one row."""
    figure = next((one for one in basis_in(place.owner(depth)) if one.name == place.name), None)
    return place.figure(source="the operation plan") if figure is None else _as_in_basis(place, figure)


def _blank(place: Place) -> Figure:
    """A number of the blank: its basis has a figure of the same name for each."""
    basis = basis_in(place.owner(3))
    own = next((figure for figure in basis if figure.name == place.name), None)
    return place.figure(source="the blank plan") if own is None else own


def _operation(place: Place, depth: int) -> Figure:
    operation = place.owner(depth)
    basis = basis_in(operation)
    figure = next((one for one in basis if one.name == place.name), None) if len(place.tokens) == depth + 1 else None
    if figure is not None:
        return _as_in_basis(place, figure)
    if "sampled" in place.tokens:
        return place.figure(
            formula="code letter by lot and level, sample size and acceptance number by letter and AQL",
            source="ISO 2859-1, normal inspection, single sampling",
        )
    table = {"batch_loss": "yields", "attended_share": "work_centres"}.get(place.name)
    row = None if table is None else _row(basis, table)
    if row is not None:
        return place.figure(rate_row=row)
    if place.name == "piece_min":
        return place.figure(source="pieces go one at a time: their minutes are those of the batch")
    if place.name == "consumables":
        return place.figure(source="nothing is spent on it besides its minutes")
    return place.figure(source="the route card: the operation plan chose it")


def _as_in_basis(place: Place, figure: Figure) -> Figure:
    """The figure of a place as the basis of its owner explains it; money of the rates as it became that of the quote."""
    if figure.unit and place.name in MONEY and figure.unit != place.document["currency"]:
        reason = "the amount in the currency of the rates, at the exchange rate of the quote"
        return place.figure(inputs=(figure,)).model_copy(update={"reason": reason})
    shown = place.figure(formula=figure.formula, inputs=figure.inputs, rate_row=figure.rate_row, source=figure.source)
    return shown.model_copy(update={"reason": figure.reason, "at": figure.at})


def _row(figures: tuple[Figure, ...], table: str) -> RateRowRef | None:
    """The first rate row of a table among some figures, in depth."""
    for figure in figures:
        if figure.rate_row is not None and figure.rate_row.table == table:
            return figure.rate_row
        below = _row(figure.inputs, table)
        if below is not None:
            return below
    return None
