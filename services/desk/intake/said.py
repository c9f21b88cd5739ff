"""What words outside of a table say: of the order, of the whole lens, of every face or element; the rest is asked about or told as not needed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from services.desk.intake.form_words import joined_forms
from services.desk.intake.grid import Cell
from services.desk.intake.meanings import Reading, read_cell
from services.desk.intake.meant import NOT_NEEDED, REMARK, REMARK_CHOICES
from services.desk.intake.record import Record
from services.desk.intake.remarks import OF_A_FACE
from services.desk.intake.terms import read_order
from shared_schemas.quote_request import QuoteRequest

OF_EVERY = "what names no face or element is taken for all of them"
TOGETHER = ("quantities", "spares", "own_operations")
"""Fields of an order of which two words may say parts."""


@dataclass
class Said:
    """Fields of the request, of the whole lens, and of every face or element, out of words; remarks; and what was understood, in words."""

    record: Record
    request: dict[str, Any] = field(default_factory=dict)
    lens: dict[str, Any] = field(default_factory=dict)
    of_all: dict[str, Any] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    understood: list[str] = field(default_factory=list)

    def clause(self, clause: str, cell: Cell, name: str) -> bool:
        """Take what a clause says, or ask about it; whether it said anything."""
        given = self.record.answer(name, "/prescription")
        if given in (REMARK, NOT_NEEDED):
            self._answered(clause, cell, given)
            return True
        reading = reading_of(clause if given is None else given)
        if reading is not None and reading.plain:
            self._take(reading, clause, cell)
        elif given is not None:
            reason = f"the answer {given!r} to {name} is not understood"
            self.record.blame(reason, figure=given, remedy="an answer as it would stand there", cell=cell)
        elif reading is not None:
            choices = [*((choice.answer, choice.means) for choice in reading.choices), *REMARK_CHOICES]
            self.record.ask(
                name,
                "/prescription",
                reading.asks or f"{clause}: not understood is {reading.left}",
                figure=clause,
                choices=choices,
                cell=cell,
            )
        return reading is not None

    def ask(self, clause: str, cell: Cell, name: str) -> None:
        """Ask what a clause says."""
        self.record.ask(name, "/prescription", f"what does {clause!r} say?", figure=clause, choices=REMARK_CHOICES, cell=cell)

    def into(self, prescription: dict[str, Any]) -> None:
        """Put what was said of no single face to every face, and of no single element to every element; what a face says itself stands.

        A cemented face gets no coating.
        """
        elements = prescription.get("elements", [])
        cemented = [bool(space.get("cemented")) for space in prescription.get("spaces", [])]
        for position, element in enumerate(elements):
            inside = {"front": position > 0 and cemented[position - 1], "back": position < len(cemented) and cemented[position]}
            for name, value in self.of_all.items():
                self._put(element, name, value, inside)

    def _put(self, element: dict[str, Any], name: str, value: Any, inside: dict[str, bool]) -> None:
        first, _, rest = name.partition(".")
        if first == "tolerances":
            element.setdefault("tolerances", {}).setdefault(rest, value)
        elif first in inside or name in OF_A_FACE:
            for side in inside if name in OF_A_FACE else (first,):
                if not (inside[side] and name.endswith("coating")):
                    element[side].setdefault(rest or name, value)
        else:
            element.setdefault(name, value)

    def _answered(self, clause: str, cell: Cell, given: str) -> None:
        if given == NOT_NEEDED:
            self.record.note(cell, "not_needed", why="so it was answered")
            return
        self.remarks.append(clause)
        self.record.assume("/prescription/remarks", clause, "as answered", cell)

    def _take(self, reading: Reading, clause: str, cell: Cell) -> None:
        """What a clause says goes where it belongs; two clauses that say different things are asked about."""
        self.understood.append(f"{clause} (line {cell.row})")
        for name, value in reading.values.items():
            if name == "remarks":
                self.remarks.append(str(value))
                self.record.assume("/prescription/remarks", str(value), reading.rule, cell)
                continue
            of_lens, of_request = name.startswith("prescription."), name in QuoteRequest.model_fields
            target = self.lens if of_lens else self.request if of_request else self.of_all
            pointer = f"/{name}" if of_request else "/prescription" if of_lens else "/prescription/elements"
            known = name.removeprefix("prescription.")
            joined = _together(known, target[known], value) if known in target else value
            if joined is None and value is not None:
                self._contradicted(clause, cell, known, target[known], value, pointer)
                continue
            target[known] = joined
            self.record.used(cell, pointer)
            if target is self.of_all:
                self.record.assume(pointer, f"{clause}: {known.replace('.', ' ')}", OF_EVERY, cell)
        if reading.rule:
            self.record.assume("/prescription", clause, reading.rule, cell)

    def _contradicted(self, clause: str, cell: Cell, name: str, before: Any, value: Any, pointer: str) -> None:
        asks = f"{name} is {value!r} here and {before!r} elsewhere"
        self.record.ask(f"line{cell.row}.{name}", pointer, asks, figure=clause, choices=REMARK_CHOICES, cell=cell)


def reading_of(clause: str) -> Reading | None:
    """What a clause means of the order or of the lens; `None` where it says nothing of either."""
    order = read_order(clause)
    if order is not None and order.plain:
        return order
    remark = read_cell("remark", clause)
    if remark.plain and remark.values:
        return remark
    return order if order is not None else remark if remark.asks else None


def _together(name: str, before: Any, value: Any) -> Any:
    """Two things that were said of one field, together; `None` where they contradict each other."""
    if before == value:
        return before
    if name in TOGETHER:
        return [*before, *(one for one in value if one not in before)]
    if name.endswith("form"):
        return joined_forms(str(before), str(value))
    if name in ("purchase_terms", "contact"):
        return f"{before}; {value}"
    return None
