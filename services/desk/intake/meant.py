"""Cells that are words: what they mean goes to the face, the element or the whole; what is not understood is asked about."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from services.desk.intake.grid import Cell
from services.desk.intake.heads import MEANINGS
from services.desk.intake.layout import Face, Held, Piece
from services.desk.intake.meanings import Reading, joined_forms, read_cell
from services.desk.intake.record import Record
from shared_schemas.prescription import Element, Surface

NUMBER_ALONE = re.compile(r"[±]?\s*[0-9]+([.,/][0-9]+)?")
REMARK = "remark"
NOT_NEEDED = "not_needed"
REMARK_CHOICES = (
    (REMARK, "it goes into the remarks, and no price follows from it"),
    (NOT_NEEDED, "it says nothing that a quote needs"),
)
FACE_FIELDS = frozenset(Surface.model_fields)
ELEMENT_FIELDS = frozenset(Element.model_fields)


@dataclass(frozen=True)
class Target:
    """Where a value goes: an element and its face, of neither the whole lens."""

    element: str = ""
    side: str = ""


@dataclass
class Meant:
    """What was read out of words so far, by target and field; and the remarks that go along."""

    record: Record
    glasses: frozenset[str] | None = None
    values: dict[tuple[Target, str], Any] = field(default_factory=dict)
    request: dict[str, Any] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)

    @staticmethod
    def is_word(kind: str) -> bool:
        """Whether cells of a kind are read as words."""
        return kind in MEANINGS or kind == "comment"

    def cell(
        self, kind: str, held: Held, piece: Piece, face: Face | None, *, unit_mm: Decimal | None, diameter_mm: Decimal | None
    ) -> None:
        """A cell under a column of words."""
        owner = face.place if face is not None else piece.name
        text = held.cell.text
        if held.head.other_unit and NUMBER_ALONE.fullmatch(text):
            text = f"{text} {held.head.other_unit}"
        if kind == "comment":
            self._remark(text, held.cell, f"{owner}.comment", piece, face)
            return
        stated = unit_mm if held.head.unit_mm is not None else None
        self._read(kind, text, held.cell, f"{owner}.{kind}", piece, face, unit_mm=stated or unit_mm, diameter_mm=diameter_mm)

    def rest(
        self,
        kind: str,
        text: str,
        cell: Cell,
        name: str,
        piece: Piece,
        face: Face | None,
        *,
        unit_mm: Decimal | None,
        diameter_mm: Decimal | None,
    ) -> None:
        """What stood behind the number of a cell: a tolerance mostly."""
        if kind == REMARK:
            self._remark(text, cell, f"{name}.rest", piece, face)
        else:
            self._read(kind, text, cell, f"{name}.tolerance", piece, face, unit_mm=unit_mm, diameter_mm=diameter_mm)

    def _read(
        self,
        kind: str,
        text: str,
        cell: Cell,
        name: str,
        piece: Piece,
        face: Face | None,
        *,
        unit_mm: Decimal | None,
        diameter_mm: Decimal | None,
    ) -> None:
        pointer = f"{face.pointer if face is not None else piece.pointer}/{kind}"
        given = self.record.answer(name, pointer)
        if given == NOT_NEEDED:
            self.record.note(cell, "not_needed", pointer=pointer, why="so it was answered")
            return
        if given == REMARK:
            self._to_remarks(cell, pointer, f"{name}: {text}", "as answered")
            return
        reading = read_cell(kind, given if given is not None else text, unit_mm=unit_mm, diameter_mm=diameter_mm)
        if given is not None and not reading.plain:
            self.record.blame(f"the answer {given!r} to {name} is not understood: {reading.asks or reading.left}", figure=given,
                              remedy="an answer as the cell would have it", cell=cell)  # fmt: skip
            return
        if not reading.plain:
            self.record.ask(
                name, pointer, reading.asks or f"{reading.left!r} is not understood", figure=text,
                choices=[*((choice.answer, choice.means) for choice in reading.choices), *REMARK_CHOICES], cell=cell,
            )  # fmt: skip
            return
        self._put(reading, cell, name, pointer, piece, face)

    def _remark(self, text: str, cell: Cell, name: str, piece: Piece, face: Face | None) -> None:
        """A comment, word by word; what is left over is asked about."""
        pointer = face.pointer if face is not None else piece.pointer
        reading = read_cell("remark", text)
        if reading.values:
            self._put(reading, cell, name, pointer, piece, face)
        if reading.left or reading.asks:
            self._left(reading.asks or f"what does {reading.left!r} say?", reading.left or text, cell, name, pointer)

    def _left(self, asks: str, left: str, cell: Cell | None, name: str, pointer: str) -> None:
        given = self.record.ask(name, pointer, asks, figure=left, choices=REMARK_CHOICES, cell=cell)
        if given == NOT_NEEDED:
            self.record.note(cell, "not_needed", pointer=pointer, why="so it was answered")
        elif given is not None:
            self._to_remarks(
                cell, pointer, f"{name.rsplit('.', maxsplit=1)[0]}: {left if given == REMARK else given}", "as answered"
            )

    def _to_remarks(self, cell: Cell | None, pointer: str, text: str, rule: str) -> None:
        self.remarks.append(text)
        self.record.assume("/prescription/remarks", text, rule, cell)
        self.record.note(cell, "assumed", pointer=pointer, why=rule)

    def _put(self, reading: Reading, cell: Cell, name: str, pointer: str, piece: Piece, face: Face | None) -> None:
        """Every value of a reading to its field; two that say different things are asked about."""
        for key, value in reading.values.items():
            if key == "remarks":
                self.remarks.append(f"{piece.name if face is None else face.place}: {value}")
                continue
            for target, name_of_field in _targets(key, piece, face):
                before = self.values.get((target, name_of_field))
                joined = joined_forms(str(before), str(value)) if name_of_field == "form" and before not in (None, value) else None
                if before in (None, value) or joined is not None:
                    self.values[(target, name_of_field)] = joined or value
                else:
                    self.record.ask(
                        name,
                        pointer,
                        f"{key} is {value!r} here and {before!r} elsewhere",
                        figure=cell.text,
                        choices=REMARK_CHOICES,
                        cell=cell,
                    )
        where = next((_pointer(key, piece, face) for key in reading.values), pointer)
        self.record.used(cell, where)
        if reading.rule:
            self.record.assume(
                where, ", ".join(f"{key} {value}" for key, value in reading.values.items()) or name, reading.rule, cell
            )

    def everywhere(self, reading: Reading, text: str, pieces: list[Piece], cemented: frozenset[Target]) -> None:
        """What a line says of every face or element; what a column says of one of them stays, and a cemented face is not coated."""
        for key, value in reading.values.items():
            for piece in pieces:
                for target, name_of_field in _targets(key, piece, None):
                    if key != "coating" or target not in cemented:
                        self.values.setdefault((target, name_of_field), value)
        rules = (
            "a line outside of the table is of every face or element",
            "cemented faces are not coated" if cemented and "coating" in reading.values else "",
            reading.rule,
        )
        self.record.assume("/prescription/elements", text, "; ".join(filter(None, rules)))

    def glass(self, cell: Cell, name: str, pointer: str) -> Any:
        """The glass of a cell, by name, code, or index and Abbe number."""
        given = self.record.answer(name, pointer)
        if given is not None:
            self.record.assume(pointer, f"{name} is {given}", "as answered", cell)
            return self.glass_answered(given, name, pointer)
        reading = read_cell("glass", cell.text)
        glass = reading.values.get("glass")
        if glass is None or not reading.plain:
            self.record.ask(name, pointer, reading.asks or f"{reading.left or cell.text!r} is no glass", figure=cell.text,
                            choices=[(choice.answer, choice.means) for choice in reading.choices], cell=cell)  # fmt: skip
            return None
        self.record.used(cell, pointer)
        if reading.rule:
            self.record.assume(pointer, str(glass), reading.rule, cell)
        self._unknown(glass, cell, name, pointer)
        return glass

    def _unknown(self, glass: Any, cell: Cell, name: str, pointer: str) -> None:
        """Where the glasses of the shop are known, a glass that is none of them is asked about."""
        if self.glasses is None or not isinstance(glass, str) or glass in self.glasses or re.fullmatch(r"\d{6}(\.?\d{3})?", glass):
            return
        import difflib  # noqa: PLC0415

        near = difflib.get_close_matches(glass.upper(), sorted(self.glasses), n=3, cutoff=0.6)
        self.record.ask(name, pointer, f"{glass} is no glass that is known here", figure=glass,
                        choices=[*((one, "a glass that is known") for one in near), (glass, "as it stands")], cell=cell)  # fmt: skip

    @staticmethod
    def glass_answered(given: str, name: str, pointer: str) -> Any:
        """The glass of an answer."""
        return read_cell("glass", given).values.get("glass", given)

    def put_into(self, document: dict[str, Any]) -> None:
        """Put what was read into the document of a prescription."""
        elements = {element["name"]: element for element in document["elements"]}
        for (target, key), value in self.values.items():
            place = document if not target.element else elements[target.element]
            place = place[target.side] if target.side else place
            *path, last = key.split(".")
            for step in path:
                place = place.setdefault(step, {})
            place[last] = value
        if self.remarks:
            document["remarks"] = "; ".join(self.remarks)[:2000]


def _pointer(key: str, piece: Piece, face: Face | None) -> str:
    """Where a value is in the request."""
    target, field_of_it = next(iter(_targets(key, piece, face)))
    place = [part for part in (*(("elements", target.element) if target.element else ()), target.side) if part]
    return "/".join(("/prescription", *place, *field_of_it.split(".")))


def _targets(key: str, piece: Piece, face: Face | None) -> Iterable[tuple[Target, str]]:
    """The faces or the element that a field is of, with its name there; a field of a face that is said of an element is of both."""
    first, _, rest = key.partition(".")
    if first in ("front", "back"):
        return [(Target(piece.name, first), rest)]
    if first in FACE_FIELDS:
        return (
            [(Target(piece.name, one.side), key) for one in piece.faces] if face is None else [(Target(piece.name, face.side), key)]
        )
    return [(Target(piece.name), key)] if first in ELEMENT_FIELDS else [(Target(), key)]
