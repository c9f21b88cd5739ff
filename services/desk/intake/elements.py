"""A table with one row an element, both its radii side by side, becomes a layout; air stands in a column or in rows of its own."""

from __future__ import annotations

import re

from services.desk.intake.heads import NOT_NEEDED, OF_FACE, Head
from services.desk.intake.layout import AIR, CEMENT, IMAGE, OBJECT, STOP, Face, Gap, Held, Layout, Part, Piece, StopAt, add
from services.desk.intake.record import Record
from services.desk.intake.surfaces import NUMBERED, kind_of
from services.desk.intake.tables import Row, Table

FACE_KINDS = ("radius", "curvature", "clear", "conic", "comment", "type", *OF_FACE)
BOTH = "a column without a face is of both"


def layout_of_elements(table: Table, record: Record) -> Layout:
    """The elements of a table, front to back, with what lies between them."""
    layout = Layout()
    waiting: list[Part] = []
    cemented = False
    for row in table.rows:
        held = _held(row, table)
        word = _word(held)
        if any(item.head.kind in ("radius", "curvature") for item in held):
            _element(held, row, layout, record, waiting, cemented=cemented)
            waiting, cemented = [], False
            column = next((item for item in held if item.head.kind == "gap"), None)
            if column is not None and column.cell.lowered in CEMENT:
                record.used(column.cell, f"/prescription/spaces/{layout.pieces[-1].name}")
                cemented = True
            elif column is not None and column.cell.lowered.strip("-– ") != "":
                waiting.append(Part(column, row.number, zero=True))
        elif word in STOP:
            _stop(held, row, layout, record, waiting)
        elif word in (*OBJECT, *IMAGE):
            _note_all(held, record, "object and image planes are no part of the lens")
        else:
            cemented = _between(held, row, record, waiting) or cemented
    if layout.pieces and waiting:
        for part in waiting:
            record.note(part.held.cell if part.held else None, "not_needed", why="behind the last face it leads to the image")
    return layout


def _held(row: Row, table: Table) -> list[Held]:
    return [Held(cell, table.heads[column]) for column, cell in sorted(row.cells.items()) if column in table.heads]


def _word(held: list[Held]) -> str:
    words = (
        item.cell.lowered.strip(" .:()") for item in held if item.head.kind in ("element", "surface", "type", "glass", "comment")
    )
    return next((word for word in words if word in (*STOP, *OBJECT, *IMAGE)), "")


def _note_all(held: list[Held], record: Record, why: str, *, but: tuple[str, ...] = ()) -> None:
    for item in held:
        if item.head.kind not in but:
            record.note(item.cell, "not_needed", why=why)


def _between(held: list[Held], row: Row, record: Record, waiting: list[Part]) -> bool:
    """A row without radii is what lies between two elements: air of a thickness, or cement."""
    cement = any(item.cell.lowered in CEMENT for item in held)
    length = next((item for item in held if item.head.kind in ("gap", "thickness")), None)
    if not cement:
        waiting.append(Part(length, row.number, zero=True))
    _note_all(held, record, "the row says what lies between two elements", but=() if cement else ("gap", "thickness", "comment"))
    return cement


def _stop(held: list[Held], row: Row, layout: Layout, record: Record, waiting: list[Part]) -> None:
    diameter = next((item for item in held if item.head.kind in ("clear", "outer")), None)
    length = next((item for item in held if item.head.kind in ("gap", "thickness")), None)
    way = Part(length, row.number, before_stop=True, zero=True)
    if layout.stop is not None:
        record.blame("there is a stop already", figure="stop", remedy="one stop", row=row.number, column="surface")
    if layout.pieces:
        layout.stop = StopAt(len(layout.pieces), row.number, diameter, list(waiting))
        if length is not None:
            waiting.append(way)
    else:
        layout.stop = StopAt(0, row.number, diameter, [], way)
    used = [item.cell for item in (diameter, length) if item is not None]
    for item in held:
        if item.cell not in used:
            record.note(item.cell, "not_needed", why="the row is the stop")


def _element(held: list[Held], row: Row, layout: Layout, record: Record, waiting: list[Part], *, cemented: bool) -> None:
    name = _name(held, len(layout.pieces) + 1, record)
    if layout.pieces:
        layout.gaps.append(Gap(list(waiting), cemented))
    front, back = Face(f"{name}.front", "front", row.number), Face(f"{name}.back", "back", row.number)
    piece = Piece(name, row.number, front, back)
    for item in held:
        _put(item, piece, record)
    layout.pieces.append(piece)


def _put(item: Held, piece: Piece, record: Record) -> None:
    """A cell to the face, or the element, that it is of."""
    kind = kind_of(item.head)
    of_face = item.head.kind in (*FACE_KINDS, "term")
    if item.head.face and of_face:
        add((piece.front if item.head.face == "front" else piece.back).cells, kind, item)
    elif of_face and kind not in ("comment", "type"):
        add(piece.front.cells, kind, item)
        add(piece.back.cells, kind, item)
        head = Head(item.head.kind, item.head.written)
        record.assume(piece.pointer, f"{head.written} of {piece.name} is of both faces", BOTH, item.cell)
    else:
        add(piece.cells, kind, item)
    why = _why_not_needed(item, piece)
    if why:
        record.note(item.cell, "not_needed", why=why)


def _why_not_needed(item: Held, piece: Piece) -> str:
    kind = item.head.kind
    if kind == "surface" or (kind == "element" and re.fullmatch(r"\d+", item.cell.text)):
        return NUMBERED
    if kind in ("index", "abbe") and piece.one("glass") is not None:
        return "the name of the glass says it"
    if kind in ("side", "units"):
        return "read with the row"
    if kind == "type":
        return "the radii say the shape"
    if kind == "gap" and item.cell.lowered in (*AIR, *CEMENT):
        return "air or cement follows"
    return NOT_NEEDED.get(kind, "")


def _name(held: list[Held], position: int, record: Record) -> str:
    item = next((item for item in held if item.head.kind == "element" and not re.fullmatch(r"\d+", item.cell.text)), None)
    item = item or next(
        (item for item in held if item.head.kind == "surface" and re.fullmatch(r"[A-Za-z][\w.-]*\d+", item.cell.text)), None
    )
    if item is None:
        return f"L{position}"
    name = re.sub(r"[\s/~]+", "-", item.cell.text.strip())[:20].strip("-") or f"L{position}"
    record.used(item.cell, f"/prescription/elements/{name}/name")
    if name != item.cell.text:
        record.assume(f"/prescription/elements/{name}/name", f"{item.cell.text} is called {name}", "a name has no blanks and at most 20 characters",
                      item.cell)  # fmt: skip
    return name
