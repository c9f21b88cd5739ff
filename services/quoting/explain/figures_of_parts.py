"""What lies behind the figures of blanks, operations, tools and bought parts: the basis that each carries."""

from __future__ import annotations

from services.quoting.explain.places import Place, basis_in, named, source_of
from shared_schemas.figure import Figure, RateRowRef

BLANK_FIGURES = {
    "diameter_mm": "blank_diameter_mm", "thickness_mm": "blank_thickness_mm", "volume_mm3": "blank_volume_mm3", "mass_g": "blank_mass_g",
}  # fmt: skip
BLANK_FORMULAS = {
    "volume_mm3": "pi / 4 x diameter_mm^2 x thickness_mm",
    "discs_per_plate": "the best layout known of blanks, their cuts and webs in the plate; one out of a rod or a pressing",
    "plates_per_slab": "floor((depth - 2 x skin + saw cut) / (thickness_mm + saw cut)); one of a pressing",
    "blanks_per_piece": "discs_per_plate x plates_per_slab",
    "utilisation": "area of the discs over the face of the plate; one for a rod and a pressing",
}
OPERATION_FORMULAS = {
    "piece_min": "counted in the minutes of the batch",
    "batch_loss": "batch_loss of the row of yields",
    "attended_share": "attended_share of the row of its work centre, or of the row that its minutes come from",
    "consumables": "consumables of a batch, of the row that its minutes come from",
}
OWN_TABLES = frozenset({"work_centres", "yields", "allowances", "tolerance_classes"})


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
    part = place.owner(2)
    found = named(basis_in(part), place.name)
    if found is not None:
        return place.figure(formula=found.formula, inputs=found.inputs, rate_row=found.rate_row, source=found.source)
    row = source_of(basis_in(part))
    if place.name == "count":
        return place.figure(formula="what the barrel and the spaces of the prescription take", inputs=basis_in(part), rate_row=row)
    return place.figure(formula=f"{place.name} of the row", rate_row=row, source=None if row else "the operation plan")


def of_tool(place: Place, depth: int) -> Figure:
    """A figure of a tool that is to be made: charge and lead time stand in one row."""
    row = source_of(basis_in(place.owner(depth)))
    return place.figure(formula=f"{place.name} of the row", rate_row=row, source=None if row else "the operation plan")


def _blank(place: Place) -> Figure:
    blank = place.owner(3)
    basis = basis_in(blank)
    found = named(basis, BLANK_FIGURES.get(place.name, place.name))
    if found is not None and (found.formula or found.rate_row or found.source):
        return place.figure(formula=found.formula, inputs=found.inputs, rate_row=found.rate_row, source=found.source)
    if place.name in BLANK_FORMULAS:
        return place.figure(formula=BLANK_FORMULAS[place.name], inputs=basis)
    return place.figure(source="the blank plan")


def _operation(place: Place, depth: int) -> Figure:
    operation = place.owner(depth)
    basis = basis_in(operation)
    found = named(basis, place.name) if len(place.tokens) == depth + 1 else None
    if found is not None and found in basis:
        return place.figure(formula=found.formula, inputs=found.inputs, rate_row=found.rate_row, source=found.source)
    if "sampled" in place.tokens:
        return place.figure(
            formula="code letter by lot and level, sample size and acceptance number by letter and AQL",
            source="ISO 2859-1, normal inspection, single sampling",
        )
    if place.name in ("setup_min", "yield"):
        return place.figure(formula="counted at the operation before, which this one completes")
    formula = OPERATION_FORMULAS.get(place.name)
    if formula is None:
        return place.figure(source="the route card: the operation plan chose it")
    tables = {"batch_loss": ("yields",), "attended_share": ("work_centres",)}.get(place.name)
    if place.name == "piece_min":
        batch = named(basis, "batch_min")
        of_piece = batch.formula.partition("; piece_min = ")[2] if batch and batch.formula else ""
        return place.figure(formula=of_piece or formula, inputs=batch.inputs if batch else basis)
    row = _row(basis, tables)
    return place.figure(formula=formula, rate_row=row, source=None if row else "the operation plan")


def _row(figures: tuple[Figure, ...], tables: tuple[str, ...] | None) -> RateRowRef | None:
    """The first rate row of those tables among some figures, in depth; without tables the row of the process itself."""
    for figure in figures:
        row = figure.rate_row
        if row is not None and (row.table in tables if tables else row.table not in OWN_TABLES):
            return row
        below = _row(figure.inputs, tables)
        if below is not None:
            return below
    return None
