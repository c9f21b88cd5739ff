"""Slips that a table alone shows: a decimal point that moved, a face that does not reach its clear diameter, columns that were mixed up."""

from __future__ import annotations

from decimal import Decimal
from statistics import median

from services.desk.intake.grid import Cell
from services.desk.intake.layout import Face, Piece
from services.desk.intake.lens import Lens
from services.desk.intake.record import AS_IT_STANDS

POWERS = (Decimal("0.1"), Decimal("0.01"), Decimal("0.001"), Decimal(10), Decimal(100), Decimal(1000))
FEWEST_DIGITS = 3
LARGEST_MM = 1000
"""Of a lens that is wider nothing is known of what is usual."""

STANDS = (AS_IT_STANDS, "the figure is meant so")


def ask_about_slips(lens: Lens) -> None:
    """Ask about every figure that looks like a slip and was not confirmed, with the repair first."""
    for piece, face in lens.layout.faces():
        _reach(lens, piece, face)
        _same_digits(lens, piece, face)
    for piece in lens.layout.pieces:
        if lens.figures.table.per_element:
            _equal_signs(lens, piece)
        _clear_within(lens, piece)
        _thickness(lens, piece)


def _ask(
    lens: Lens,
    name: str,
    pointer: str,
    asks: str,
    figure: Decimal,
    choices: list[tuple[str, str]],
    cell: Cell | None,
    row: int,
    column: str,
) -> None:
    """Ask about a figure, unless it was answered, as it stands or otherwise."""
    if name not in lens.record.answers:
        lens.record.ask(name, pointer, asks, figure=float(figure), choices=choices, cell=cell, row=row, column=column)


def _radius_cell(face: Face) -> Cell | None:
    held = face.one("radius") or face.one("curvature")
    return held.cell if held is not None else None


def _reach(lens: Lens, piece: Piece, face: Face) -> None:
    """A sphere does not reach farther from the axis than its radius."""
    key = f"{piece.name}.{face.side}"
    radius, clear = lens.radii[key], lens.clears[key]
    if radius is None or clear is None or clear / 2 <= abs(radius) or face.one("conic") is not None:
        return
    choices = [
        (_shown(radius * power), "the decimal point slipped") for power in POWERS if clear / 2 < abs(radius * power) <= 1000 * clear
    ][:1]
    _ask(lens, f"{face.place}.radius_mm", f"{face.pointer}/radius_mm", f"a radius of {_shown(radius)} mm does not reach the clear semi-diameter of "
         f"{_shown(clear / 2)} mm", radius, choices, _radius_cell(face), face.row, "radius_mm")  # fmt: skip


def _same_digits(lens: Lens, piece: Piece, face: Face) -> None:
    """A radius with the digits of another one and its point elsewhere."""
    radius = lens.radii[f"{piece.name}.{face.side}"]
    if radius is None or len(_digits(radius)) < FEWEST_DIGITS:
        return
    others = [
        other
        for key, other in lens.radii.items()
        if other is not None and _digits(other) == _digits(radius) and abs(other) != abs(radius)
    ]
    near = [other for other in others if abs(other) < abs(radius)]
    if near and abs(radius) >= 10 * abs(near[0]):
        repair = abs(near[0]) * (1 if radius > 0 else -1)
        _ask(lens, f"{face.place}.radius_mm", f"{face.pointer}/radius_mm", f"a radius of {_shown(radius)} mm has the digits of another one of "
             f"{_shown(near[0])} mm", radius, [(_shown(repair), "the decimal point slipped"), STANDS], _radius_cell(face), face.row, "radius_mm")  # fmt: skip


def _equal_signs(lens: Lens, piece: Piece) -> None:
    """Both radii of an element the same and positive is a lens without power, or one whose back is given without its sign."""
    front, back = lens.radii[f"{piece.name}.front"], lens.radii[f"{piece.name}.back"]
    if back is not None and back == front:
        repairs = [(_shown(-back), "the sign of the back is left out"), STANDS]
        _ask(lens, f"{piece.back.place}.radius_mm", f"{piece.back.pointer}/radius_mm", f"both radii of {piece.name} are {_shown(back)} mm, with the same sign", back,
             repairs, _radius_cell(piece.back), piece.row, "radius_mm")  # fmt: skip


def _clear_within(lens: Lens, piece: Piece) -> None:
    outer = lens.outers[piece.name]
    for face in piece.faces:
        clear = lens.clears[f"{piece.name}.{face.side}"]
        if outer is None or clear is None or clear <= outer:
            continue
        held = face.one("clear")
        choices = [(_shown(clear / 10), "the decimal point slipped")] if outer / 2 <= clear / 10 <= outer else []
        choices.append((_shown(outer), "the whole diameter"))
        _ask(lens, f"{face.place}.clear_diameter_mm", f"{face.pointer}/clear_diameter_mm", f"the clear diameter of {_shown(clear)} mm is larger than "
             f"the diameter of {_shown(outer)} mm", clear, choices, held.cell if held else None, face.row, "clear_diameter_mm")  # fmt: skip


def _thickness(lens: Lens, piece: Piece) -> None:
    """A glass that is far thicker than wide, where a tenth of it is like the others or like its own diameter."""
    thickness, outer = lens.thicknesses[piece.name], lens.outers[piece.name]
    if thickness is None or outer is None:
        return
    others = [other for name, other in lens.thicknesses.items() if name != piece.name and other is not None]
    usual = Decimal(median(others)) if others else outer / 4
    slipped = next((power for power in POWERS[:3] if usual / 4 <= thickness * power <= min(usual * 4, outer)), None)
    if slipped is None or thickness <= max(outer, 10 * usual) or outer > LARGEST_MM:
        return
    held = piece.one("thickness")
    _ask(lens, f"{piece.name}.centre_thickness_mm", f"{piece.pointer}/centre_thickness_mm", f"a thickness of {_shown(thickness)} mm is unlike the rest of the lens",
         thickness, [(_shown(thickness * slipped), "the decimal point slipped"), STANDS], held.cell if held else None, piece.row, "thickness_mm")  # fmt: skip


def _digits(value: Decimal) -> str:
    return "".join(map(str, value.normalize().as_tuple().digits))


def _shown(value: Decimal) -> str:
    value = value.normalize()
    return f"{value:f}"
