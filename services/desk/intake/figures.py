"""Figures out of the cells of one table: its decimal sign and unit, lengths in mm, radii, aspheric terms; each cell by the name of its field."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation

from services.desk.intake import units
from services.desk.intake.grid import Cell
from services.desk.intake.heads import LENGTHS, Head
from services.desk.intake.numbers import (
    EXACT,
    FACING,
    FLATTEST_MM,
    Doubtful,
    Figure,
    Signs,
    figure_of,
    is_flat,
    plain,
    product,
    signs_of,
)
from services.desk.intake.record import AS_IT_STANDS, Record
from services.desk.intake.tables import Table

POINT = Signs(".")
DOUBT = re.compile(r"\(?\?+\)?")
NUMERIC = (*LENGTHS, "conic", "term", "index", "abbe")
SHORT = ("thickness", "clear", "outer", "clear_semi", "outer_semi", "aperture")


@dataclass(frozen=True)
class Place:
    """Where a figure goes: the name it is asked under (`L2.front.radius_mm`), its pointer, and what it is in words."""

    name: str
    pointer: str
    words: str = ""
    row: int = 0
    column: str = ""


@dataclass
class Figures:
    """How the numbers of a table are read. `rests` are words that stood behind the number of a cell."""

    record: Record
    table: Table
    signs: Signs = POINT
    unit_mm: Decimal | None = None
    row_units: Mapping[int, Decimal] = field(default_factory=dict)
    rests: dict[tuple[str, int, int], str] = field(default_factory=dict)
    cache: dict[tuple[str, int, int], Decimal | None] = field(default_factory=dict)

    def decide_signs(self) -> None:
        """The decimal sign that the whole table agrees on, or a question."""
        texts, short = [], []
        for row in self.table.rows:
            for column, cell in row.cells.items():
                head = self.table.heads.get(column)
                if head is not None and head.kind in NUMERIC and not cell.typed:
                    texts.append(cell.text)
                    short += [cell.text] if head.kind in SHORT else []
        self.signs = signs_of(texts, short=short)
        if self.signs.open and self.table.grid.separator == "," and not any("," in text for text in texts):
            self.record.assume("", "the point is the decimal sign", "commas part the cells, so that nothing says otherwise")
            self.signs = POINT
        elif self.signs.decimal and self.signs.open:
            word = "point" if self.signs.decimal == "." else "comma"
            self.record.assume(
                "", f"the {word} is the decimal sign", "the other way thicknesses and diameters would be a metre and more"
            )
        elif self.signs.open:
            given = self.record.ask(
                "decimal_sign", "", "every number has three digits behind its sign: is the sign a decimal one, or does it group thousands?",
                choices=(("point", "the point is the decimal sign"), ("comma", "the comma is the decimal sign")), free=False,
            )  # fmt: skip
            if given is not None:
                self.signs = Signs({"point": ".", ".": ".", "comma": ",", ",": ","}.get(given.lower(), "."), grouped=True)

    def unit_of(self, cell: Cell, head: Head, row: int) -> Decimal:
        """The mm of the unit of a cell, by its row, its head or the table."""
        return self.row_units.get(row) or head.unit_mm or self.unit_mm or units.MM

    def number(self, cell: Cell, place: Place) -> Figure | None:
        """The number that a cell begins with, or what was answered; `None` and a question where it says none."""
        given = self.record.answer(place.name, place.pointer)
        if given is not None and given.lower() != AS_IT_STANDS:
            return self._answered(given, place, cell)
        figure = figure_of(cell.text, self.signs, typed=cell.typed)
        if isinstance(figure, Figure) and not self._doubted(cell, place, figure):
            if figure.grouped:
                self.record.assume(
                    place.pointer, f"{cell.text} is {figure.value}", "the other sign is the decimal one all through the table", cell
                )
            return figure
        if not isinstance(figure, Figure):
            self._ask_number(cell, place, figure)
        return None

    def _doubted(self, cell: Cell, place: Place, figure: Figure) -> bool:
        """Whether whoever wrote a number put a question mark to it, which is passed on."""
        if DOUBT.fullmatch(figure.rest) is None or self.record.answer(place.name, place.pointer) is not None:
            return False
        choices = [(_text(figure.value), "it is that")]
        self.record.ask(
            place.name, place.pointer, f"{cell.text!r} is marked as doubtful", figure=cell.text, choices=choices, cell=cell
        )
        return True

    def _answered(self, given: str, place: Place, cell: Cell | None) -> Figure | None:
        """An answer is in mm unless it says another unit."""
        figure = figure_of(given, POINT, typed="," not in given)
        if isinstance(figure, Doubtful):
            figure = Figure(figure.readings[-1], figure.unit_mm) if len(figure.readings) == 1 else None
        if figure is None or figure.rest:
            self.record.blame(
                f"the answer {given!r} to {place.name} is no number",
                figure=given,
                remedy="a number such as 12.5",
                row=place.row,
                column=place.column,
            )
            return None
        self.record.assume(place.pointer, f"{place.name} is {given}", "as answered", cell)
        return Figure(figure.value, figure.unit_mm or units.MM, "")

    def _ask_number(self, cell: Cell, place: Place, figure: Doubtful | None) -> None:
        if figure is None:
            self.record.ask(
                place.name, place.pointer, f"{cell.text!r} is no number", figure=cell.text, choices=_repairs(cell.text), cell=cell
            )
        elif len(figure.readings) == 1:
            signs = ("a comma", "a point") if "," in cell.text else ("a point", "a comma")
            self.record.ask(
                place.name, place.pointer, f"{cell.text!r} has {signs[0]}, other numbers have {signs[1]}", figure=cell.text,
                choices=[(_text(figure.readings[0]), "the number as it is meant")], cell=cell,
            )  # fmt: skip
        else:
            self.record.ask(
                place.name, place.pointer, f"{cell.text!r} may be {' or '.join(_text(value) for value in figure.readings)}", figure=cell.text,
                choices=[(_text(value), f"it is {_text(value)}") for value in sorted(figure.readings)], cell=cell,
            )  # fmt: skip

    def length(self, cell: Cell | None, head: Head, place: Place, *, above_zero: bool = True) -> Decimal | None:
        """A length in mm to its last digit; `None` and a question where there is none."""
        if cell is None:
            return self.missing(place)
        if cell.key in self.cache:
            return self.cache[cell.key]
        value = self.cache[cell.key] = self._length(cell, head, place, above_zero=above_zero)
        return value

    def missing(self, place: Place, asks: str = "", choices: tuple[tuple[str, str], ...] = ()) -> Decimal | None:
        """A length that stands nowhere, as it is answered."""
        words = asks or (f"{place.words} is missing" if place.words else "the cell is empty")
        given = self.record.ask(place.name, place.pointer, words, choices=choices, row=place.row, column=place.column)
        figure = None if given is None else self._answered(given, place, None)
        return None if figure is None else product(figure.value, figure.unit_mm or units.MM)

    def _length(self, cell: Cell, head: Head, place: Place, *, above_zero: bool) -> Decimal | None:
        figure = self.number(cell, place)
        if figure is None:
            return None
        answered = place.name in self.record.answers and self.record.answers[place.name].strip().lower() != AS_IT_STANDS
        unit = figure.unit_mm if answered else self._unit(cell, head, place, figure)
        value = product(figure.value, unit or units.MM, Decimal(2 if head.semi and not answered else 1))
        if not math.isfinite(float(value)):
            self.record.ask(place.name, place.pointer, f"{cell.text} is beyond all measure", figure=cell.text, cell=cell)
            return None
        if above_zero and value <= 0:
            choices = [(_text(-value), "the sign slipped")] if value < 0 else []
            self.record.ask(
                place.name, place.pointer, f"{cell.text} is not above 0", figure=float(value), choices=choices, cell=cell
            )
            return None
        if figure.rest:
            self.rests[cell.key] = figure.rest
        self.record.used(cell, place.pointer)
        return value

    def _unit(self, cell: Cell, head: Head, place: Place, figure: Figure) -> Decimal:
        stated = self.unit_of(cell, head, cell.column if self.table.turned else cell.row)
        if figure.unit_mm is None or figure.unit_mm == stated:
            return stated
        if head.unit_mm is None and self.unit_mm is None:
            return figure.unit_mm
        own = figure.value * figure.unit_mm * (2 if head.semi else 1)
        other = figure.value * stated * (2 if head.semi else 1)
        self.record.ask(
            place.name, place.pointer, f"the cell says {units.shown(figure.unit_mm)}, the table {units.shown(stated)}", figure=cell.text,
            choices=[(_text(own), "in the unit of the cell"), (_text(other), "in the unit of the table")], cell=cell,
        )  # fmt: skip
        return figure.unit_mm

    def radius(self, cell: Cell | None, head: Head, place: Place, *, face: str) -> Decimal | None:
        """The signed radius in mm, `None` for a flat face; a cell that is empty where others are not is asked about."""
        if cell is None:
            return self._lost_radius(place)
        if cell.key in self.cache:
            return self.cache[cell.key]
        value = self.cache[cell.key] = self._radius(cell, head, place, face)
        return value

    def _lost_radius(self, place: Place) -> Decimal | None:
        choices = (("plano", "the face is flat"),)
        given = self.record.ask(
            place.name, place.pointer, "the radius is missing", choices=choices, row=place.row, column=place.column
        )
        return self._radius_answered(given, place, None) if given is not None else None

    def _radius_answered(self, given: str, place: Place, cell: Cell | None) -> Decimal | None:
        if is_flat(given):
            self.record.assume(place.pointer, f"{place.name} is plano", "as answered", cell)
            return None
        figure = self._answered(given, place, cell)
        return None if figure is None or figure.value == 0 else product(figure.value, figure.unit_mm or units.MM)

    def _radius(self, cell: Cell, head: Head, place: Place, face: str) -> Decimal | None:
        given = self.record.answer(place.name, place.pointer)
        if given is not None and given.lower() != AS_IT_STANDS:
            return self._radius_answered(given, place, cell)
        if is_flat(cell.text):
            self.record.used(cell, place.pointer)
            return None
        figure = figure_of(cell.text, self.signs, typed=cell.typed)
        if not isinstance(figure, Figure) or self._doubted(cell, place, figure):
            self._ask_radius(cell, place, figure)
            return None
        self.record.used(cell, place.pointer)
        if figure.grouped:
            self.record.assume(
                place.pointer, f"{cell.text} is {figure.value}", "the other sign is the decimal one all through the table", cell
            )
        if figure.value == 0:
            if head.kind == "radius":
                self.record.assume(place.pointer, "plano", "a radius of 0 is how some tables write a flat face", cell)
            return None
        value = self._signed(cell, place, figure, face)
        unit = self._unit(cell, head, place, figure)
        if head.kind == "curvature":
            value = Decimal(repr(1 / float(value)))
        value = product(value, unit)
        if abs(value) > FLATTEST_MM or not math.isfinite(float(value)):
            self.record.assume(
                place.pointer, "plano", f"a radius above {FLATTEST_MM:f} mm is how some tables write a flat face", cell
            )
            return None
        return value

    def _ask_radius(self, cell: Cell, place: Place, figure: Figure | Doubtful | None) -> None:
        if cell.lowered.strip("-– ") == "":
            self._ask_dash(cell, place)
        elif not isinstance(figure, Figure):
            self._ask_number(cell, place, figure)

    def _ask_dash(self, cell: Cell, place: Place) -> None:
        self.record.ask(
            place.name,
            place.pointer,
            f"{cell.text!r} is no radius",
            figure=cell.text,
            choices=(("plano", "the face is flat"),),
            cell=cell,
        )

    def _signed(self, cell: Cell, place: Place, figure: Figure, face: str) -> Decimal:
        """The value with the sign that a word such as CX behind it gives it: convex is positive at the front, negative at the back."""
        word = FACING.match(figure.rest)
        if word is None or figure.rest[word.end() :].strip():
            if figure.rest:
                self.rests[cell.key] = figure.rest
            return figure.value
        convex = word["word"].lower() in ("cx", "convex", "konvex", "convexe")
        value = abs(figure.value) if convex == (face == "front") else -abs(figure.value)
        self.record.assume(
            place.pointer, f"{cell.text} is {value}", "convex bends outward: positive at the front, negative at the back", cell
        )
        return value

    def term(self, cell: Cell, head: Head, place: Place) -> float:
        """The coefficient of an aspheric term, in mm to the power of one less its order."""
        figure = self.number(cell, place)
        if figure is None:
            return 0.0
        if figure.rest:
            self.record.ask(place.name, place.pointer, f"{cell.text!r} is no number", figure=cell.text, cell=cell)
            return 0.0
        self.record.used(cell, place.pointer)
        unit = self.unit_of(cell, head, cell.column if self.table.turned else cell.row)
        return float(figure.value) if unit == units.MM else float(figure.value) * float(unit) ** (1 - head.order)

    def bare(self, cell: Cell, place: Place) -> float | None:
        """A number without a unit, such as a conic constant or an index."""
        figure = self.number(cell, place)
        if figure is None:
            return None
        if figure.rest or not math.isfinite(float(figure.value)):
            self.record.ask(place.name, place.pointer, f"{cell.text!r} is no number", figure=cell.text, cell=cell)
            return None
        self.record.used(cell, place.pointer)
        return float(figure.value)


def exact_sum(lengths_mm: list[Decimal]) -> float:
    """The sum of lengths as they are written in decimal: 2.0 and 9.85 give 11.85."""
    total = Decimal(0)
    for length_mm in lengths_mm:
        total = EXACT.add(total, length_mm)
    return float(total)


def is_far(text: str) -> bool:
    """Whether a distance is without end, by a word or by a number that stands for it."""
    if is_flat(text):
        return True
    figure = figure_of(text, POINT)
    return isinstance(figure, Figure) and figure.value >= Decimal("1e8")


def _repairs(text: str) -> list[tuple[str, str]]:
    """What a cell that is nearly a number may have been meant as: letters typed for figures, a sign twice."""
    likely = plain(text).translate(str.maketrans("OolISB", "001158"))
    likely = re.sub(r"([.,])[.,]+", r"\1", likely).replace(" ", "").replace(",", ".")
    try:
        value = Decimal(likely)
    except InvalidOperation:
        return []
    return [(_text(value), "letters typed for figures")] if value.is_finite() else []


def _text(value: Decimal) -> str:
    value = value.normalize()
    return format(value, "f") if -12 < value.adjusted() < 12 else str(value)
