"""What the planner says of aspheric faces."""

from __future__ import annotations

import math
from collections.abc import Iterator

from services.optics.law import law
from services.process.domain.aspheres.limits import nearest, rows_for
from services.process.domain.aspheres.route import own_ways
from services.process.domain.aspheres.shape import allowed_um
from services.process.domain.element_work import ElementWork
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import PressedAsphereRow, Rates


def unmakeable_aspheres(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """A stop for every face that only an asphere will do for, and that no way of the rates is good for."""
    for face in work.faces:
        if face.asphere is None or not face.made_aspheric or rows_for(work, face, face.asphere, rates):
            continue
        row, limit = nearest(work, face, face.asphere, rates)
        yield finding(
            "asphere-beyond-ways",
            face.where,
            f"The aspheric {face.face} of {work.name} has a {limit.what} of {limit.figure:.4g} {limit.unit}; the way that comes "
            f"nearest, {row.name}, takes {limit.limit:g} {limit.unit} or {'more' if limit.at_least else 'less'}.",
            figure=limit.figure,
            limit=limit.limit,
            unit=limit.unit,
            row=row.name,
            remedy=limit.words,
        )


@law
def break_even_pieces(*, mould_charge: float, polished_each: float, pressed_each: float) -> int:
    """Pieces from which the moulds are paid for by what pressing saves on each.

    Equation: ceil(mould_charge / (polished_each - pressed_each))
    Source: derived

    Raises: FigureOutOfRange where pressing saves nothing.
    """
    if polished_each <= pressed_each:
        raise FigureOutOfRange("cost of a polished piece", polished_each, f"more than that of a pressed one, {pressed_each:g}")
    return math.ceil(mould_charge / (polished_each - pressed_each))


def aspheres_to_press(work: ElementWork, rates: Rates) -> Iterator[Finding]:
    """From how many pieces on an element with aspheric faces would cost less pressed; by the work on those faces alone."""
    faces = [face for face in work.faces if face.made_aspheric]
    ways = [own_ways(work, face, rates) for face in faces]
    if not faces or not all(ways):
        return
    polished = sum(min(way.costs[0] for way in of_face) for of_face in ways)
    cheaper = [row for row in rates.pressed_aspheres if _presses(row, work) and row.unit_price < polished]

    def from_pieces(row: PressedAsphereRow) -> int:
        return break_even_pieces(mould_charge=float(row.charge), polished_each=polished, pressed_each=float(row.unit_price))

    row = min(cheaper, key=lambda row: (from_pieces(row), row.unit_price, row.charge, row.lead_days), default=None)
    if row is None:
        return
    pieces = from_pieces(row)
    yield finding(
        "asphere-to-press",
        faces[0].where,
        f"From about {pieces} pieces on {work.name} would cost less pressed: moulds for {row.charge} {rates.base_currency} in "
        f"{row.lead_days:g} days, then {row.unit_price} each against {polished:.0f} for the work on its aspheric faces.",
        figure=pieces,
        unit="pieces",
        row=row.name,
        remedy="ask for an offer of precision moulding; its index changes in the press, so the design has to know",
    )


def _presses(row: PressedAsphereRow, work: ElementWork) -> bool:
    """Whether a row presses an element: its glass, its diameter and the form of its faces."""
    fits = row.smallest_diameter_mm <= work.diameter_mm <= row.largest_diameter_mm
    return (
        fits
        and work.glass.name in row.glasses
        and all(allowed_um(face.irregularity_fringes) >= row.finest_form_um for face in work.faces)
    )
