"""A word for the shape of an element beside its radii: where they contradict each other, a sign may have been left out."""

from __future__ import annotations

import re
from decimal import Decimal

from services.desk.intake.layout import Held, Piece
from services.desk.intake.lens import Lens
from services.desk.intake.record import AS_IT_STANDS

STANDS = (AS_IT_STANDS, "the radii are right, and not the word")
BICONVEX, BICONCAVE = "bi-?convex|bi-?konvex|double[ -]convex|dcx|bcx", "bi-?concave|bi-?konkav|double[ -]concave|dcv|bcv"
PLANO_CONVEX, PLANO_CONCAVE = "plan[oe]?-?convex|plan-?konvex|pcx", "plan[oe]?-?concave|plan-?konkav|pcv"
SHAPES: tuple[tuple[str, tuple[int, int]], ...] = (
    (BICONVEX, (1, 1)),
    (BICONCAVE, (-1, -1)),
)
HALF_PLANE: tuple[tuple[str, int], ...] = ((PLANO_CONVEX, 1), (PLANO_CONCAVE, -1))
"""Which way the faces of a shape bend: 1 outward, -1 inward, 0 not at all; of a plane one either face may be the flat one."""


def ask_about_shapes(lens: Lens) -> None:
    """Ask where the sign of a radius contradicts the word for the shape, with the other sign first."""
    for piece in lens.layout.pieces:
        for kind in ("type", "element"):
            for held in piece.cells.get(kind, ()):
                _ask(lens, piece, held)


def _ask(lens: Lens, piece: Piece, held: Held) -> None:
    radii = {face.side: lens.radii[f"{piece.name}.{face.side}"] for face in piece.faces}
    meant = _meant(held.cell.lowered, radii)
    for face in piece.faces:
        radius, bend = radii[face.side], meant.get(face.side)
        name = f"{face.place}.radius_mm"
        if radius is None or not bend or lens.record.answer(name) is not None or name in lens.record.questions:
            continue
        outward = (radius > 0) == (face.side == "front")
        if outward == (bend > 0):
            continue
        cell = next((each.cell for kind in ("radius", "curvature") for each in face.cells.get(kind, ())), held.cell)
        way = (
            "outward: positive at the front, negative at the back"
            if bend > 0
            else "inward: negative at the front, positive at the back"
        )
        asks = f"{piece.name} is called {held.cell.text[:60]}, and its {face.side} has a radius of {_shown(radius)} mm: such a face bends {way}"
        choices = [(_shown(-radius), "a sign was left out"), STANDS]
        lens.record.ask(name, f"{face.pointer}/radius_mm", asks, figure=float(radius), choices=choices, cell=cell)


def _meant(text: str, radii: dict[str, Decimal | None]) -> dict[str, int]:
    """Which way each face bends by the word for the shape; nothing where there is no such word."""
    for words, (front, back) in SHAPES:
        if re.search(rf"\b(?:{words})\b", text):
            return {"front": front, "back": back}
    for words, bend in HALF_PLANE:
        if re.search(rf"\b(?:{words})\b", text) and None in radii.values():
            return {side: bend for side, radius in radii.items() if radius is not None}
    return {}


def _shown(value: Decimal) -> str:
    return f"{value.normalize():f}"
