"""A layout becomes the document of a prescription: every cell is read, what is missing follows by a rule or is asked about."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from services.desk.intake.diameters import CLEAR_RULE, OUTER_RULE, clear_diameter_mm, outer_diameter_mm
from services.desk.intake.figures import Figures, Place, exact_sum
from services.desk.intake.heads import Head
from services.desk.intake.layout import CEMENT, Face, Gap, Held, Layout, Part, Piece
from services.desk.intake.lines import Line
from services.desk.intake.meanings import Reading
from services.desk.intake.meant import Meant, Target
from services.desk.intake.numbers import POINT_ZERO
from services.desk.intake.record import Record

TOLERANCE_OF = {"diameter_mm": "diameter_tolerance", "centre_thickness_mm": "thickness_tolerance", "radius_mm": "radius_tolerance"}


@dataclass
class Lens:
    """What has been read of a lens: lengths in mm by element and face, for looking at them together."""

    layout: Layout
    figures: Figures
    record: Record
    meant: Meant
    radii: dict[str, Decimal | None] = field(default_factory=dict)
    clears: dict[str, Decimal | None] = field(default_factory=dict)
    outers: dict[str, Decimal | None] = field(default_factory=dict)
    thicknesses: dict[str, Decimal | None] = field(default_factory=dict)

    def document(self, everywhere: Sequence[tuple[Line, Reading]] = ()) -> dict[str, Any]:
        """The prescription as far as it is known; a figure that is asked about is left out. `everywhere` is of every face or element."""
        self._names_once()
        for piece in self.layout.pieces:
            self._lengths(piece)
        elements = [self._element(piece) for piece in self.layout.pieces]
        spaces = [self._space(i, gap) for i, gap in enumerate(self.layout.gaps[: len(self.layout.pieces) - 1])]
        document: dict[str, Any] = {"elements": elements, "spaces": spaces}
        if self.layout.stop is not None:
            document["stop"] = self._stop()
        held = self.layout.object_distance
        if held is not None:
            place = Place("object_distance_mm", "/prescription/object_distance_mm")
            distance = self.figures.length(held.cell, held.head, place)
            document |= {} if distance is None else {"object_distance_mm": float(distance)}
        for piece in self.layout.pieces:
            self._words(piece)
        for line, reading in everywhere:
            self.meant.everywhere(reading, line.text, self.layout.pieces, self._cemented())
        self.meant.put_into(document)
        return document

    def _cemented(self) -> frozenset[Target]:
        """The faces that touch cement."""
        pieces = self.layout.pieces
        joined = [i for i, gap in enumerate(self.layout.gaps) if gap.cemented]
        return frozenset(target for i in joined for target in (Target(pieces[i].name, "back"), Target(pieces[i + 1].name, "front")))

    def _names_once(self) -> None:
        seen: set[str] = set()
        for piece in self.layout.pieces:
            if piece.name in seen:
                held = piece.one("element")
                self.record.blame(f"the name {piece.name} is taken by another element", figure=piece.name, remedy="give each element a name of its own",
                                  cell=held.cell if held else None, row=piece.row, column="element")  # fmt: skip
            seen.add(piece.name)

    # lengths

    def _lengths(self, piece: Piece) -> None:
        place = Place(
            f"{piece.name}.centre_thickness_mm",
            f"{piece.pointer}/centre_thickness_mm",
            f"the thickness of {piece.name}",
            piece.row,
            "thickness_mm",
        )
        self.thicknesses[piece.name] = self._length(piece.one("thickness"), place)
        for face in piece.faces:
            self.radii[f"{piece.name}.{face.side}"] = self._radius(face)
            self.clears[f"{piece.name}.{face.side}"] = self._clear(piece, face)
        self._diameters(piece)

    def _length(self, held: Held | None, place: Place, *, above_zero: bool = True) -> Decimal | None:
        if held is None:
            return self.figures.missing(place)
        return self.figures.length(held.cell, held.head, place, above_zero=above_zero)

    def _radius(self, face: Face) -> Decimal | None:
        held = face.one("radius") or face.one("curvature")
        column = held.head.written if held else "radius_mm"
        place = Place(f"{face.place}.radius_mm", f"{face.pointer}/radius_mm", "", face.row, column)
        if held is None:
            return self.figures.radius(None, Head("radius", "radius"), place, face=face.side)
        return self.figures.radius(held.cell, held.head, place, face=face.side)

    def _clear(self, piece: Piece, face: Face) -> Decimal | None:
        held = face.one("clear")
        place = Place(f"{face.place}.clear_diameter_mm", f"{face.pointer}/clear_diameter_mm", "", face.row, "clear_diameter_mm")
        if held is not None:
            return self.figures.length(held.cell, held.head, place)
        if self.record.answer(place.name, place.pointer) is not None:
            return self.figures.missing(place)
        return None

    def _diameters(self, piece: Piece) -> None:
        """The diameter of an element and the clear ones of its faces: one of them is enough."""
        place = Place(
            f"{piece.name}.diameter_mm", f"{piece.pointer}/diameter_mm", f"the diameter of {piece.name}", piece.row, "diameter_mm"
        )
        outer = self._outer(piece, place)
        clears = [self.clears[f"{piece.name}.{face.side}"] for face in piece.faces]
        known = [clear for clear in clears if clear is not None]
        asked = any(self._is_asked(f"{face.place}.clear_diameter_mm") for face in piece.faces)
        if outer is None and known and not self._is_asked(place.name) and not asked:
            outer = outer_diameter_mm(max(known))
            self.record.assume(place.pointer, f"{piece.name} has a diameter of {outer} mm", OUTER_RULE)
        elif outer is None and not asked and not self._is_asked(place.name):
            self.figures.missing(place, f"{piece.name} has neither a diameter nor a clear one")
        self.outers[piece.name] = outer
        if outer is not None:
            for face in piece.faces:
                self._clear_by_rule(piece, face, outer, known)

    def _clear_by_rule(self, piece: Piece, face: Face, outer: Decimal, known: list[Decimal]) -> None:
        key = f"{piece.name}.{face.side}"
        name = f"{face.place}.clear_diameter_mm"
        if self.clears[key] is not None or self._is_asked(name):
            return
        clear = clear_diameter_mm(outer) if not known else min(known)
        rule = CLEAR_RULE if not known else "as the other face of the element"
        if clear is None and self._is_asked("unit"):
            return
        if clear is None:
            self.figures.missing(
                Place(name, f"{face.pointer}/clear_diameter_mm", "the clear diameter", face.row, "clear_diameter_mm")
            )
            return
        self.clears[key] = clear
        self.record.assume(f"{face.pointer}/clear_diameter_mm", f"{face.place} is clear on {clear.normalize():f} mm", rule)

    def _is_asked(self, name: str) -> bool:
        return name in self.record.questions

    def _outer(self, piece: Piece, place: Place) -> Decimal | None:
        """The diameter where it stands, of a surface table in the row of either face; two that differ are asked about."""
        helds = piece.cells.get("outer", [])
        if not helds:
            return self.figures.missing(place) if self.record.answer(place.name, place.pointer) is not None else None
        values = [self.figures.length(held.cell, held.head, place) for held in helds]
        known = list(dict.fromkeys(value for value in values if value is not None))
        if len(known) > 1 and place.name not in self.record.answers:
            self.record.ask(
                place.name, place.pointer, f"the front of the element says {_shown(known[0])}", figure=float(known[1]),
                choices=[(_shown(value), "the diameter of both faces") for value in known], cell=helds[-1].cell,
            )  # fmt: skip
            return None
        return known[0] if known else None

    # document

    def _element(self, piece: Piece) -> dict[str, Any]:
        glass = self._glass(piece)
        outer, thickness = self.outers[piece.name], self.thicknesses[piece.name]
        return {
            "name": piece.name,
            **({} if glass is None else {"glass": glass}),
            **({} if outer is None else {"diameter_mm": float(outer)}),
            **({} if thickness is None else {"centre_thickness_mm": float(thickness)}),
            "front": self._face(piece, piece.front),
            "back": self._face(piece, piece.back),
        }

    def _face(self, piece: Piece, face: Face) -> dict[str, Any]:
        key = f"{piece.name}.{face.side}"
        radius, clear = self.radii[key], self.clears[key]
        document: dict[str, Any] = {}
        if not self._is_asked(f"{face.place}.radius_mm"):
            document["radius_mm"] = None if radius is None else float(radius)
        if clear is not None:
            document["clear_diameter_mm"] = float(clear)
        conic = face.one("conic")
        value = None if conic is None else self.figures.bare(conic.cell, Place(f"{face.place}.conic", f"{face.pointer}/conic"))
        terms = self._terms(face)
        return document | ({"conic": value} if value else {}) | ({"asphere": terms} if terms else {})

    def _terms(self, face: Face) -> dict[str, float]:
        terms = {}
        for kind, helds in face.cells.items():
            if re.fullmatch(r"a\d+", kind):
                place = Place(f"{face.place}.{kind}", f"{face.pointer}/asphere/{kind[1:]}")
                terms[kind[1:]] = self.figures.term(helds[0].cell, helds[0].head, place)
        return {order: terms[order] for order in sorted(terms, key=int) if terms[order] != 0}

    def _glass(self, piece: Piece) -> Any:
        name, pointer = f"{piece.name}.glass", f"{piece.pointer}/glass"
        held = piece.one("glass")
        if held is not None:
            return self.meant.glass(held.cell, name, pointer)
        index, abbe = piece.one("index"), piece.one("abbe")
        if index is not None and abbe is not None:
            nd = self.figures.bare(index.cell, Place(f"{piece.name}.nd", f"{pointer}/nd"))
            vd = self.figures.bare(abbe.cell, Place(f"{piece.name}.vd", f"{pointer}/vd"))
            return None if nd is None or vd is None else {"nd": nd, "vd": vd}
        words = f"the glass of {piece.name} is missing"
        if index is not None:
            words = f"{piece.name} has an index of {index.cell.text} and no glass: which glass is it?"
        given = self.record.ask(name, pointer, words, cell=index.cell if index else None, row=piece.row, column="glass")
        return None if given is None else self.meant.glass_answered(given, name, pointer)

    def _space(self, i: int, gap: Gap) -> dict[str, Any]:
        before, behind = self.layout.pieces[i], self.layout.pieces[i + 1]
        name, pointer = f"{before.name}.gap_mm", f"/prescription/spaces/{before.name}-{behind.name}/gap_mm"
        if gap.cemented and not gap.parts:
            return {"cemented": True}
        if not gap.parts:
            given = self.record.ask(
                name, pointer, f"what lies between {before.name} and {behind.name} is missing: how much air, or cement?",
                choices=(("cemented", "the two are cemented"),), row=behind.row, column="gap_mm",
            )  # fmt: skip
            return self._space_answered(given, name, pointer, behind)
        if (self.record.answer(name, pointer) or "").lower() in CEMENT:
            return {"cemented": True}
        lengths = [self._part(part, name, pointer) for part in gap.parts]
        if any(length is None for length in lengths):
            return {}
        total = exact_sum([length for length in lengths if length is not None])
        if not gap.cemented:
            return {"gap_mm": total}
        if total != 0:
            part = gap.parts[-1]
            self.record.ask(
                name, pointer, f"the cement before this face is {total:g} mm thick; a prescription has none", figure=total,
                choices=(("cemented", "the cement has no thickness"),), free=False, row=behind.row,
                column=part.held.head.written if part.held else "thickness_mm",
            )  # fmt: skip
            self.record.note(part.held.cell if part.held else None, "asked", pointer=pointer)
        return {"cemented": True}

    def _space_answered(self, given: str | None, name: str, pointer: str, behind: Piece) -> dict[str, Any]:
        if given is None:
            return {}
        if given.lower() in CEMENT:
            return {"cemented": True}
        length = self.figures.missing(Place(name, pointer, "", behind.row, "gap_mm"))
        return {} if length is None else {"gap_mm": float(length)}

    def _part(self, part: Part, name: str, pointer: str) -> Decimal | None:
        place = Place(name, pointer, "", part.row, "thickness_mm")
        if part.held is not None and POINT_ZERO.fullmatch(part.held.cell.lowered) and part.zero:
            self.record.used(part.held.cell, pointer)
            return Decimal(0)
        return self._length(part.held, place, above_zero=not part.before_stop)

    def _stop(self) -> dict[str, Any]:
        stop = self.layout.stop
        assert stop is not None
        pointer = "/prescription/stop"
        before = self.layout.pieces[stop.after_element - 1].name if stop.after_element else ""
        lengths = [self._part(part, f"{before}.gap_mm", f"{pointer}/distance_mm") for part in stop.parts]
        distance = exact_sum([length for length in lengths if length is not None])
        if stop.ahead is not None:
            ahead = self._part(stop.ahead, "stop.distance_mm", f"{pointer}/distance_mm")
            distance = -float(ahead or 0) or 0.0
        place = Place("stop.diameter_mm", f"{pointer}/diameter_mm", "", stop.row, "clear_diameter_mm")
        diameter = self._stop_diameter(place)
        return {
            "after_element": stop.after_element,
            "distance_mm": distance,
            **({} if diameter is None else {"diameter_mm": float(diameter)}),
        }

    def _stop_diameter(self, place: Place) -> Decimal | None:
        """The width of the stop; on a face it is the clear diameter of that."""
        stop = self.layout.stop
        assert stop is not None
        if stop.face is None:
            return self._length(stop.diameter, place)
        owner = next((f"{piece.name}.{face.side}" for piece, face in self.layout.faces() if face.row == stop.row), None)
        return None if owner is None else self.clears[owner]

    # words

    def _words(self, piece: Piece) -> None:
        """Everything that is no plain number: coatings, tolerances, indications, comments, and what stood behind numbers."""
        outer = self.outers[piece.name]
        for face in piece.faces:
            for kind, helds in face.cells.items():
                for held in helds:
                    self._word(kind, held, piece, face, outer)
        for kind, helds in piece.cells.items():
            for held in helds:
                self._word(kind, held, piece, None, outer)

    def _word(self, kind: str, held: Held, piece: Piece, face: Face | None, outer: Decimal | None) -> None:
        unit = self.figures.unit_of(held.cell, held.head, held.cell.column if self.figures.table.turned else held.cell.row)
        rest = self.figures.rests.get(held.cell.key)
        if rest is not None:
            field_name = {
                "outer": "diameter_mm",
                "thickness": "centre_thickness_mm",
                "radius": "radius_mm",
                "curvature": "radius_mm",
            }.get(kind, kind)
            owner = face.place if face is not None else piece.name
            self.meant.rest(
                TOLERANCE_OF.get(field_name, "remark"),
                rest,
                held.cell,
                f"{owner}.{field_name}",
                piece,
                face,
                unit_mm=unit,
                diameter_mm=outer,
            )
        elif self.meant.is_word(kind):
            self.meant.cell(kind, held, piece, face, unit_mm=unit, diameter_mm=outer)


def _shown(value: Decimal) -> str:
    return f"{value.normalize():f}"
