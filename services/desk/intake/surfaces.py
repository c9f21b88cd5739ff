"""A table with one row a surface, front to back, becomes a layout of elements.

A row with a glass is the front of an element, and its thickness that of the glass; two such rows one after the other are cemented. A row
without a glass is followed by air, one whose glass is `cement` by cement. A row called `stop` is the stop, `object` and `image` may be there.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from services.desk.intake.figures import is_far
from services.desk.intake.grid import Cell
from services.desk.intake.heads import NOT_NEEDED, OF_FACE, Head
from services.desk.intake.layout import AIR, CEMENT, IMAGE, OBJECT, STOP, Face, Gap, Held, Layout, Part, Piece, StopAt, add
from services.desk.intake.meanings import read_cell
from services.desk.intake.numbers import POINT_ZERO, is_flat
from services.desk.intake.record import Record
from services.desk.intake.tables import Row, Table

OF_ELEMENT_IN_ROW = ("thickness", "glass", "index", "abbe", "outer", "element", "centring", "wedge", "diameter_tolerance", "thickness_tolerance", "bubbles",
                     "inhomogeneity", "stress_birefringence")  # fmt: skip
FACE_KINDS = ("radius", "curvature", "clear", "conic", "comment", *OF_FACE)
NUMBERED = "a running number says nothing of the lens"
IMAGE_ROW = "the image plane is no part of the lens"
ORDINARY_TYPES = ("standard", "sphere", "spherical", "sph", "even asphere", "evenasph", "asphere", "aspheric", "asph", "sphärisch", "asphärisch", "sphärisch ", "plane",
                  "plano", "plan", "flat", "sphérique", "asphérique", "conic", "conique", "refract", "refractive", "lens", "glass", "linse")  # fmt: skip


@dataclass(frozen=True)
class SurfaceRow:
    """One row of the table by kinds of columns."""

    number: int
    held: dict[str, list[Held]] = field(default_factory=dict)

    def one(self, kind: str) -> Held | None:
        """The first cell of a kind."""
        return next(iter(self.held.get(kind, ())), None)

    def lowered(self, kind: str) -> str:
        """What stands in a cell in small letters; empty where there is none."""
        held = self.one(kind)
        return held.cell.lowered if held is not None else ""

    @property
    def medium(self) -> str:
        """What lies behind the face: `glass`, `air` or `cement`."""
        return medium_of(self.lowered("glass") or self.lowered("index"))

    @property
    def word(self) -> str:
        """What the row is called: in its own column, or in that of types or comments where it is a stop, object or image."""
        for kind in ("surface", "type", "comment", "element"):
            if self.lowered(kind).strip(" .:()") in (*STOP, *OBJECT, *IMAGE):
                return self.lowered(kind).strip(" .:()")
        found = re.search(r"\b(stop|sto|blende|diaphragme?)\b", self.lowered("surface"))
        return found[1] if found is not None else ""

    @property
    def is_stop(self) -> bool:
        """Whether the aperture stop lies here."""
        return self.word in STOP

    @property
    def is_flat(self) -> bool:
        """Whether the cell of the radius, or of the curvature, says flat, or nothing."""
        said = self.lowered("radius") or self.lowered("curvature")
        return said == "" or is_flat(said) or POINT_ZERO.fullmatch(said) is not None or said.strip("-– ") == ""

    @property
    def kind(self) -> str:
        """`object`, `image`, `stop` (a stop in air) or `face`. A stop row with a glass or a radius is a face that is the stop."""
        if self.word in OBJECT:
            return "object"
        if self.word in IMAGE:
            return "image"
        return "stop" if self.is_stop and self.medium == "air" and self.is_flat else "face"


def medium_of(text: str) -> str:
    """What a word for a medium, in small letters, says: `glass`, `air` or `cement`."""
    if text in AIR or text in CEMENT:
        return "air" if text in AIR else "cement"
    return str(read_cell("glass", text).values.get("medium", "glass"))


def layout_of_surfaces(table: Table, record: Record) -> Layout:
    """The elements of a table with one row a surface, front to back, with what lies between them."""
    return Surfaces(record).all(rows_of(table))


def rows_of(table: Table) -> list[SurfaceRow]:
    """The rows of a table by kinds."""
    return [SurfaceRow(row.number, _held(row, table)) for row in table.rows]


def _held(row: Row, table: Table) -> dict[str, list[Held]]:
    held: dict[str, list[Held]] = {}
    for column, cell in sorted(row.cells.items()):
        head = table.heads.get(column)
        if head is not None:
            add(held, kind_of(head), Held(cell, head))
    return held


def kind_of(head: Head) -> str:
    """The kind of a column; of an aspheric term with its order."""
    return f"a{head.order}" if head.kind == "term" else head.kind


@dataclass
class Surfaces:
    """What has been laid out so far, front to back. `behind` is the way from the last face on, `cement` whether that is cement."""

    record: Record
    layout: Layout = field(default_factory=Layout)
    behind: list[Part] = field(default_factory=list)
    cement: bool = False
    before: SurfaceRow | None = None

    def all(self, rows: list[SurfaceRow]) -> Layout:
        """Every row in turn; object and image may go without their names at the ends."""
        body = []
        for row in rows:
            if row.kind == "image":
                self._not_needed(row, IMAGE_ROW)
            else:
                body.append(row)
        body = _glass_once(body, self.record)
        if body and _is_unnamed_object(body[0]):
            self._object(body.pop(0))
        if len(body) > 2 and _is_unnamed_image(body[-1], body[-2]):
            self._not_needed(body.pop(), IMAGE_ROW)
        settled = _with_lost_glasses(body, self.record)
        if settled is None:
            return self.layout
        body = settled
        for i, row in enumerate(body):
            following = body[i + 1] if i + 1 < len(body) else None
            if row.kind == "object":
                self._object_first(row, i)
            elif row.kind == "stop":
                self._stop(row, last=following is None)
            else:
                self._face(row, following)
            self.before = row
        self._last_way(body)
        return self.layout

    def _not_needed(self, row: SurfaceRow, why: str, *, but: tuple[str, ...] = ()) -> None:
        for kind, helds in row.held.items():
            for held in helds:
                if kind not in but:
                    self.record.note(held.cell, "not_needed", why=why)

    def _object_first(self, row: SurfaceRow, place: int) -> None:
        if place > 0:
            held = row.one("surface")
            self.record.blame("the object comes after other rows", figure=row.word, remedy="one object, in the first row",
                              cell=held.cell if held else None, row=row.number)  # fmt: skip
        else:
            self._object(row)

    def _object(self, row: SurfaceRow) -> None:
        thickness = row.one("thickness")
        if thickness is not None and not is_far(thickness.cell.text) and POINT_ZERO.fullmatch(thickness.cell.lowered) is None:
            self.layout.object_distance = thickness
            self._not_needed(row, "the object plane is no part of the lens", but=("thickness",))
        else:
            self._not_needed(row, "the object is at infinity")

    def _stop(self, row: SurfaceRow, *, last: bool) -> None:
        """The stop lies behind the last element by the air before it, or before the first by the air that follows it."""
        way = Part(row.one("thickness"), row.number, before_stop=True)
        if self.layout.pieces:
            self._place_stop(row, list(self.behind))
            if not last:
                self.behind.append(replace(way, zero=True))
        else:
            self._place_stop(row, [], ahead=way)
        self._not_needed(row, "the row is the stop", but=("thickness", "clear", *(() if row.one("clear") else ("outer",))))

    def _place_stop(self, row: SurfaceRow, parts: list[Part], *, ahead: Part | None = None, face: Face | None = None) -> None:
        if self.layout.stop is not None:
            self.record.blame("there is a stop already", figure="stop", remedy="one stop", row=row.number, column="surface")
        diameter = row.one("clear") or (row.one("outer") if face is None else None)
        self.layout.stop = StopAt(len(self.layout.pieces), row.number, diameter, parts, ahead, face)
        if (held := row.one("surface")) is not None:
            self.record.used(held.cell, "/prescription/stop")

    def _inside(self) -> bool:
        return self.before is not None and self.before.kind == "face" and self.before.medium == "glass"

    def _face(self, row: SurfaceRow, following: SurfaceRow | None) -> None:
        inside = self._inside()
        if row.is_stop and row.medium == "glass" and not inside:
            self._place_stop(row, list(self.behind) if self.layout.pieces else [], face=Face("", "front", row.number))
        elif row.is_stop and row.medium == "glass":
            self._place_stop(row, [], face=Face("", "back", row.number))
        if row.medium == "glass":
            self._front(row, following, cemented=inside)
        if row.medium != "glass":
            if row.is_stop:
                self._place_stop(row, [], face=Face("", "back", row.number))
            self.cement = row.medium == "cement"
            self.behind = [] if following is None else [self._way(row, following)]

    def _way(self, row: SurfaceRow, following: SurfaceRow) -> Part:
        return Part(row.one("thickness"), row.number, before_stop=following.kind == "stop", zero=True)

    def _front(self, row: SurfaceRow, following: SurfaceRow | None, *, cemented: bool) -> None:
        if self.layout.pieces:
            self.layout.gaps.append(Gap(cemented=True) if cemented else Gap(list(self.behind), self.cement))
        self.behind = []
        if following is None or following.kind != "face":
            held = row.one("glass")
            self.record.blame("the element has no back face", figure=row.lowered("glass"), remedy="add the row of its back face",
                              cell=held.cell if held else None, row=row.number)  # fmt: skip
            return
        self.layout.pieces.append(self._piece(row, following))

    def _piece(self, front: SurfaceRow, back: SurfaceRow) -> Piece:
        position = len(self.layout.pieces) + 1
        name = self._name(front, position)
        shared = back.medium == "glass"
        back_place = f"{self._name(back, position + 1)}.front" if shared else f"{name}.back"
        piece = Piece(name, front.number, _face(front, f"{name}.front", "front"), _face(back, back_place, "back"))
        for kind, helds in front.held.items():
            if kind in OF_ELEMENT_IN_ROW:
                for held in helds:
                    add(piece.cells, kind, held)
        if not shared:
            for kind, helds in back.held.items():
                if kind in OF_ELEMENT_IN_ROW and kind not in ("thickness", "glass", "index", "abbe", "element"):
                    for held in helds:
                        add(piece.cells, kind, held)
        self._housekeeping(front)
        self._housekeeping(back)
        return piece

    def _name(self, row: SurfaceRow, position: int) -> str:
        held = row.one("element")
        if held is None or re.fullmatch(r"\d+", held.cell.text):
            self.record.note(held.cell if held else None, "not_needed", why=NUMBERED)
            return f"L{position}"
        name = re.sub(r"[\s/~]+", "-", held.cell.text.strip())[:20].strip("-") or f"L{position}"
        self.record.used(held.cell, f"/prescription/elements/{name}/name")
        if name != held.cell.text:
            self.record.assume(f"/prescription/elements/{name}/name", f"{held.cell.text} is called {name}", "a name has no blanks and at most 20 characters",
                               held.cell)  # fmt: skip
        return name

    def _housekeeping(self, row: SurfaceRow) -> None:
        """Cells that say nothing a quote needs: running numbers, the word for air, what follows from the rest."""
        for kind, helds in row.held.items():
            for held in helds:
                why = _why_not_needed(kind, held, row)
                if why:
                    self.record.note(held.cell, "not_needed", why=why)

    def _last_way(self, body: list[SurfaceRow]) -> None:
        """What stands behind the last face is the way to the image."""
        last = body[-1] if body and body[-1].kind in ("face", "stop") and body[-1].medium != "glass" else None
        held = last.one("thickness") if last is not None else None
        if held is not None:
            self.record.note(held.cell, "not_needed", why="behind the last face it leads to the image")


def _why_not_needed(kind: str, held: Held, row: SurfaceRow) -> str:
    """Why a cell says nothing that a quote needs; empty where it may say something."""
    text = held.cell.lowered
    numbered = re.fullmatch(r"[a-zäöüéè]*[\s._#-]*\d+[a-z]?\*?", text) is not None and not row.word
    rules = {
        "surface": NUMBERED if numbered else "",
        "glass": "" if row.medium == "glass" else f"{row.medium} follows",
        "index": "air follows" if row.medium == "air" else "the name of the glass says it" if row.one("glass") is not None else "",
        "type": "the radius, the conic constant and the terms say it" if text in ORDINARY_TYPES else "",
        "element": "the element is named in the row of its front" if row.medium == "air" else "",
        "side": "the order of the rows says it",
    }
    rules["abbe"] = rules["index"]
    return rules.get(kind, NOT_NEEDED.get(kind, ""))


def _face(row: SurfaceRow, place: str, side: str) -> Face:
    face = Face(place, side, row.number)
    for kind, helds in row.held.items():
        if kind in FACE_KINDS or re.fullmatch(r"a\d+", kind):
            face.cells[kind] = list(helds)
    return face


def _with_lost_glasses(body: list[SurfaceRow], record: Record) -> list[SurfaceRow] | None:
    """The rows with every glass that the faces show to be lost, as it is answered; `None` while that is asked, for what is an element then."""
    while (lost := _row_without_glass(body)) is not None:
        row = body[lost]
        held = row.one("glass")
        given = record.ask(
            f"row{row.number}.glass", "/prescription/elements", "no glass comes before or after this face: which glass is behind it?",
            cell=held.cell if held else None, row=row.number, column="glass",
        )  # fmt: skip
        if given is None or medium_of(given.lower()) != "glass":
            for each in body:
                for cell in (one.cell for helds in each.held.values() for one in helds):
                    record.note(cell, "asked", why=f"it is read when the glass of row {row.number} is known")
            return None
        cell = Cell(row.number, held.cell.column if held else -1, given, held.cell.sheet if held else "")
        body = [*body[:lost], SurfaceRow(row.number, row.held | {"glass": [Held(cell, Head("glass", "glass"))]}), *body[lost + 1 :]]
    return body


def _row_without_glass(body: list[SurfaceRow]) -> int | None:
    """The first row whose glass is lost: a face in air on both sides, or the face before it where it is the last of such two."""
    for i, row in enumerate(body):
        before = body[i - 1] if i > 0 else None
        inside = before is not None and before.kind == "face" and before.medium == "glass"
        following = body[i + 1] if i + 1 < len(body) else None
        if row.kind == "face" and row.medium == "glass" and (following is None or following.kind != "face"):
            return None  # the element has no back face, which no glass mends
        if row.kind != "face" or row.medium == "glass" or inside:
            continue
        has_back = following is not None and following.kind == "face" and following.medium != "glass"
        follows_air = before is not None and before.kind == "face" and before.medium == "air"
        return i - 1 if follows_air and not has_back else i
    return None


def _glass_once(body: list[SurfaceRow], record: Record) -> list[SurfaceRow]:
    """Where every element has its glass in the rows of both its faces, the second says nothing new."""
    faces = [row for row in body if row.kind == "face"]
    pairs = list(zip(faces[::2], faces[1::2], strict=False))
    if len(faces) < 2 or len(faces) % 2 or faces[-1].medium != "glass":
        return body
    if any(front.medium != "glass" or front.lowered("glass") != back.lowered("glass") for front, back in pairs):
        return body
    backs = {back.number for _, back in pairs}
    rows = []
    for row in body:
        held = row.one("glass") if row.number in backs else None
        if held is None:
            rows.append(row)
            continue
        record.assume(
            "/prescription/elements", f"row {row.number} is a back face", "the glass stands in the rows of both faces", held.cell
        )
        others = {kind: helds for kind, helds in row.held.items() if kind not in ("glass", "index", "abbe")}
        rows.append(SurfaceRow(row.number, others))
    return rows


def _is_unnamed_object(row: SurfaceRow) -> bool:
    """A first row without a glass that is flat and endlessly far, or has the number 0."""
    far = row.lowered("thickness") != "" and is_far(row.lowered("thickness"))
    return row.kind == "face" and row.medium == "air" and row.is_flat and (far or row.lowered("surface") == "0")


def _is_unnamed_image(row: SurfaceRow, before: SurfaceRow) -> bool:
    """A last row in air that is flat, behind the back face of the last element."""
    named = re.fullmatch(r"[^a-z]*|s(?:urf(?:ace)?)?\W*\d+", row.lowered("surface")) is None
    return (
        row.kind == "face"
        and row.medium == "air"
        and row.is_flat
        and before.kind == "face"
        and before.medium == "air"
        and not named
    )
