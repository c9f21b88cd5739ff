"""The cells of a table of surfaces: what a column holds and in which unit, and every fault with its row and column."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from services.desk.errors import TableUnreadable
from shared_schemas.csv_cells import unguarded
from shared_schemas.problem import ProblemDetail

COLUMNS = ("surface", "radius_mm", "thickness_mm", "glass", "clear_diameter_mm", "diameter_mm")
ORDERS = ("4", "6", "8", "10", "12", "14", "16", "18", "20")
MM_PER_INCH = Decimal("25.4")

NAMES = {
    "surface": "surface surf srf s # no nr number surface_number surf_no surface_no surf_# type_of_row",
    "element": "element element_name lens lens_name part",
    "radius": "radius r roc rad radius_of_curvature curvature_radius r_mm",
    "curvature": "curvature curv c cv cuy",
    "thickness": "thickness t th thick thi center_thickness centre_thickness ct spacing separation distance axial_distance",
    "glass": "glass material medium glass_type glass_name mat gla",
    "clear_diameter": "clear_diameter clear_dia clear_aperture ca clear_ap cd effective_diameter free_diameter optical_diameter",
    "clear_semi_diameter": "clear_semi_diameter semi_diameter semidiameter semi_aperture sd semi_dia clear_radius half_aperture clear_semi_aperture",
    "diameter": "diameter outer_diameter od dia mechanical_diameter mech_dia mechanical_dia outer_dia edge_diameter finished_diameter md",
    "semi": "outer_semi_diameter mechanical_semi_diameter mech_semi_diameter mechanical_semi_dia outer_radius",
    "conic": "conic k conic_constant cc",
    "comment": "comment comments note notes remark remarks",
}
"""Heads by quantity, common practice in tables of surfaces."""

QUANTITY = {name: quantity for quantity, names in NAMES.items() for name in names.split()}
UNITS = {"mm": False, "millimetre": False, "millimeter": False, "millimetres": False, "millimeters": False,
         "in": True, "inch": True, "inches": True, '"': True}  # fmt: skip
"""Words for a unit of length, and whether it is the inch."""

UNIT_AT_END = re.compile(
    r"[\s_,/]*(?:[(\[]\s*(?:1/)?(?P<u1>[a-z\"]+)\s*(?:\^?-?[0-9]*)?\s*[)\]]|(?<=[\s_])(?:per_|1/)?(?P<u2>mm|in|inch|inches))\s*$"
)


@dataclass(frozen=True)
class Head:
    """One column: the quantity, whether the head itself states inches (`None`: it states nothing), the order of an aspheric term."""

    column: str
    written: str
    inches: bool | None = None
    kind: str = ""
    order: int = 0


@dataclass(frozen=True)
class Scale:
    """How a number of one column becomes the figure of the prescription."""

    inverted: bool = False
    doubled: bool = False
    inches_to_the: int = 0

    def figure(self, value: float, *, inches: bool) -> float:
        """The figure in mm. A radius is one over a curvature; a term of order n is in length to the 1-n."""
        if self.inverted:
            value = 1 / value
        factor = MM_PER_INCH if inches else Decimal(1)
        if self.inches_to_the == 1:
            return float(Decimal(repr(value)) * factor * (2 if self.doubled else 1))
        return value * float(factor) ** self.inches_to_the


COLUMN_OF = {
    "radius": ("radius_mm", Scale(inches_to_the=1)),
    "curvature": ("radius_mm", Scale(inverted=True, inches_to_the=1)),
    "thickness": ("thickness_mm", Scale(inches_to_the=1)),
    "clear_diameter": ("clear_diameter_mm", Scale(inches_to_the=1)),
    "clear_semi_diameter": ("clear_diameter_mm", Scale(doubled=True, inches_to_the=1)),
    "diameter": ("diameter_mm", Scale(inches_to_the=1)),
    "semi": ("diameter_mm", Scale(doubled=True, inches_to_the=1)),
    "conic": ("conic", Scale()),
}


def head_of(written: str) -> Head | None:
    """What a column of that head holds; `None` where the head says nothing known."""
    text = written.strip().lower().replace("\u2033", '"')
    inches: bool | None = None
    unit = UNIT_AT_END.search(text)
    if unit is not None and unit.start() > 0 and (unit["u1"] or unit["u2"]) in UNITS:
        inches = UNITS[unit["u1"] or unit["u2"]]
        text = text[: unit.start()]
    name = re.sub(r"[\s_\-./]+", "_", text.replace("\u00f8", "dia")).strip("_")
    term = re.fullmatch(r"(?:asph(?:ere)?_?|coeff?_?)?a_?([0-9]{1,2})|([0-9]{1,2})th(?:_order)?(?:_term)?", name)
    if term is not None and (term[1] or term[2]) in ORDERS:
        order = term[1] or term[2]
        return Head(f"a{order}", written.strip(), inches, "term", int(order))
    if name in ("unit", "units"):
        return Head("units", written.strip())
    quantity = QUANTITY.get(name)
    if quantity is None:
        return None
    column = COLUMN_OF[quantity][0] if quantity in COLUMN_OF else quantity
    return Head(column, written.strip(), inches, quantity)


def scale_of(head: Head) -> Scale:
    """How the numbers under a head become figures."""
    if head.kind == "term":
        return Scale(inches_to_the=1 - head.order)
    return COLUMN_OF[head.kind][1]


MOST_ROWS = 200
MOST_CHARACTERS = 1024 * 1024
FLATTEST_MM = 1e7
"""A radius beyond this, such as 1e10, is how tables without a word for it write a flat face."""

FLAT = ("", "inf", "infinity", "infinite", "plano", "plane", "plan", "flat", "\u221e")
AIR = ("", "air", "-", "vacuum")
CEMENT = ("cement", "cemented", "glue")
STOP = ("stop", "sto", "ast", "aperture stop", "aperture", "iris", "diaphragm")
OBJECT = ("object", "obj")
IMAGE = ("image", "img", "ima")
NEEDED = ("radius_mm", "thickness_mm", "glass", "clear_diameter_mm")
UNSCALED = ("surface", "element", "glass", "comment", "units")

NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?")
PREAMBLE = re.compile(
    r"^\W*(?P<key>units?|wavelength_nm|entrance_pupil_diameter_mm|field_half_angle_deg)\s*[,;\t:=]\s*(?P<value>[^,;\t]*(?:,[0-9]+)?)[\s,;]*$",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Row:
    """One line of the table; `number` counts as a spreadsheet does, from the first line of the file."""

    number: int
    cells: dict[str, str]
    inches: bool | None = None

    def lowered(self, column: str) -> str:
        """What stands in a cell in small letters; empty where there is no such column."""
        return self.cells.get(column, "").lower()

    @property
    def medium(self) -> str:
        """What lies behind the face: `glass`, `air` or `cement`."""
        said = self.lowered("glass")
        return "air" if said in AIR else "cement" if said in CEMENT else "glass"

    @property
    def kind(self) -> str:
        """`object`, `image`, `stop` (a stop in air) or `face`. A stop row with a glass or a radius is a face that is the stop."""
        said = self.lowered("surface")
        if said in OBJECT:
            return "object"
        if said in IMAGE:
            return "image"
        return "stop" if said in STOP and self.medium == "air" and self.is_flat else "face"

    @property
    def is_stop(self) -> bool:
        """Whether the aperture stop lies here."""
        return self.lowered("surface") in STOP

    @property
    def is_flat(self) -> bool:
        """Whether the cell of the radius, or of the curvature, says flat."""
        return self.lowered("radius_mm").lstrip("+-") in FLAT or bool(re.fullmatch(r"[+-]?0*[.,]?0*", self.lowered("radius_mm")))


@dataclass
class Sheet:
    """The rows of one table with the faults found so far."""

    name: str
    heads: dict[str, Head] = field(default_factory=dict)
    points: bool = False
    preamble: dict[str, tuple[int, str]] = field(default_factory=dict)
    faults: list[ProblemDetail] = field(default_factory=list)

    def blame(self, row: int, column: str, reason: str, figure: Any, remedy: str) -> None:
        """Note that a cell is of no use; the column is named as its head is written."""
        head = self.heads.get(column)
        shown = head.written if head is not None else column
        pointer = f"/row {row}/{shown.replace('~', '~0').replace('/', '~1')}"
        found = ProblemDetail(pointer=pointer, reason=f"row {row}, {shown}: {reason}", figure=figure, remedy=remedy)
        if found not in self.faults:  # a cemented face is read for both of its elements
            self.faults.append(found)

    def refuse_if_any(self) -> None:
        """Raise `TableUnreadable` with every fault noted."""
        if self.faults:
            count = len(self.faults)
            said = f"{count} {'cell needs' if count == 1 else 'cells need'} correcting; first: {self.faults[0].reason}"
            raise TableUnreadable(self.name, said, *self.faults)

    def quiet(self) -> Sheet:
        """The same sheet with faults that nobody hears: a shared face is read twice and blamed once."""
        return replace(self, faults=[])

    def plain_number(self, row: int, column: str, text: str) -> float | None:
        """The number that a text says, `None` and a fault when it says none."""
        plain = text.replace("\u2212", "-").replace("\u00a0", "")
        if "," in plain and self.points:
            self.blame(
                row, column, f"{text!r} has a comma, other numbers have a point", text, "one decimal sign all through the table"
            )
            return None
        plain = plain.replace(",", ".")
        if not NUMBER.fullmatch(plain) or not math.isfinite(float(plain)):
            reason = f"{text!r} is no number" if text else "the cell is empty"
            self.blame(row, column, reason, text or None, "a number such as 12.5, without a unit")
            return None
        return float(plain)

    def number(self, row: Row, column: str, *, above_zero: bool = True) -> float | None:
        """The figure in a cell, in mm whatever the table is in; `None` and a fault when there is none."""
        text = row.cells.get(column, "")
        value = self.plain_number(row.number, column, text)
        if value is None:
            return None
        if above_zero and value <= 0:
            self.blame(row.number, column, f"{text} is not above 0", value, "a length above 0 mm")
            return None
        return self._scaled(row, column, value)

    def length(self, row: Row, column: str, *, above_zero: bool = True) -> Decimal:
        """The figure in a cell to its last digit, so that sums of lengths are exact; 0 and a fault when there is none."""
        figure = self.number(row, column, above_zero=above_zero)
        if not figure:
            return Decimal(0)
        text = row.cells[column].replace("\u2212", "-").replace("\u00a0", "").replace(",", ".")
        return Decimal(text) if figure == float(text) else Decimal(repr(figure))

    def radius(self, row: Row) -> float | None:
        """The signed radius, `None` for a flat face: a word for it, nothing, 0, or more than any radius."""
        if row.is_flat:
            return None
        figure = self.number(row, "radius_mm", above_zero=False)
        return None if figure is None or figure == 0 or abs(figure) > FLATTEST_MM else figure

    def optional(self, row: Row, column: str) -> float:
        """The figure in a cell that may be empty or absent, which is 0."""
        return (self.number(row, column, above_zero=False) or 0.0) if row.cells.get(column) else 0.0

    def terms(self, row: Row) -> dict[str, float]:
        """The aspheric terms that are not 0, by order."""
        orders = sorted(head.order for head in self.heads.values() if head.order)
        found = {str(order): self.optional(row, f"a{order}") for order in orders}
        return {order: figure for order, figure in found.items() if figure != 0}

    def _scaled(self, row: Row, column: str, value: float) -> float | None:
        head = self.heads[column]
        if value == 0:
            return 0.0
        try:
            figure = scale_of(head).figure(value, inches=bool(row.inches if head.inches is None else head.inches))
        except OverflowError:
            figure = math.inf
        if math.isfinite(figure) or column == "radius_mm":
            return figure
        self.blame(row.number, column, f"{row.cells[column]} is beyond all measure", value, "a smaller number")
        return None


def rows_of(text: str, sheet: Sheet) -> list[Row]:
    """The rows of a table below its heads, blank ones left out. Raises `TableUnreadable`."""
    if len(text) > MOST_CHARACTERS:
        raise TableUnreadable(sheet.name, f"it is longer than {MOST_CHARACTERS // 1024} KiB, which no table of surfaces is")
    if "\x00" in text:
        raise TableUnreadable(sheet.name, "it has NUL characters, so it is no text; save it as CSV in UTF-8")
    lines = text.lstrip("\ufeff").splitlines()
    first = _past_preamble(lines, sheet)
    separator = max("\t;,", key=lines[first].count)
    try:
        written = next(csv.reader([lines[first]], delimiter=separator))
        entries = [[unguarded(cell) for cell in cells] for cells in csv.reader(lines[first + 1 :], delimiter=separator)]
    except csv.Error as fault:
        raise TableUnreadable(sheet.name, f"it is no table: {fault}") from fault
    columns = _columns(written, first + 1, sheet)
    if sum(any(cell.strip() for cell in cells) for cells in entries) > MOST_ROWS:
        raise TableUnreadable(sheet.name, f"it has more than the {MOST_ROWS} rows that are read")
    found = list(_rows(entries, columns, first + 2, sheet))
    _refuse_two_units(found, sheet)
    numeric = [column for column in sheet.heads if column not in UNSCALED]
    sheet.points = any("." in row.cells[column] for row in found for column in numeric)
    return found


def _past_preamble(lines: list[str], sheet: Sheet) -> int:
    """The line of the heads; what stands before it, such as `units,inch`, is kept as preamble."""
    for i, line in enumerate(lines):
        said = PREAMBLE.match(line)
        if said is not None:
            key = said["key"].lower()
            sheet.preamble["units" if key == "unit" else key] = (i + 1, said["value"].strip())
        elif line.strip(" \t,;"):
            return i
    raise TableUnreadable(sheet.name, "it is empty; the first row must name the columns " + ", ".join(COLUMNS))


def _columns(written: list[str], row: int, sheet: Sheet) -> list[str]:
    """The column under each head; heads that are missing, unknown or twice there are blamed."""
    heads = [head_of(cell) if cell.strip() else None for cell in written]
    seen = [head.column for head in heads if head is not None]
    for column in NEEDED:
        if column not in seen:
            sheet.blame(row, column, "the column is missing", None, "the columns are " + ", ".join(COLUMNS))
    for cell, head in zip(written, heads, strict=True):
        if head is None and cell.strip():
            sheet.blame(
                row,
                cell.strip(),
                "unknown column",
                cell.strip(),
                "the columns are " + ", ".join(COLUMNS) + ", conic, a4 to a20",
            )
        elif head is not None and seen.count(head.column) > 1 and head.column not in sheet.heads:
            both = " and ".join(dict.fromkeys(one.written for one in heads if one is not None and one.column == head.column))
            sheet.blame(row, head.written, f"the column is there twice ({both})", head.written, f"one column for {head.column}")
        if head is not None:
            sheet.heads.setdefault(head.column, head)
    sheet.refuse_if_any()
    return ["" if head is None else head.column for head in heads]


def _rows(entries: list[list[str]], columns: list[str], first: int, sheet: Sheet) -> Iterator[Row]:
    inches = _unit(sheet, *sheet.preamble["units"]) if "units" in sheet.preamble else None
    for i, cells in enumerate(entries, start=first):
        if not any(cell.strip() for cell in cells):
            continue
        if any(cell.strip() for cell in cells[len(columns) :]):
            sheet.blame(i, "(none)", f"the row has {len(cells)} cells, the heads are {len(columns)}", len(cells),
                        "use ; as separator when the numbers have a decimal comma")  # fmt: skip
            continue
        filled = dict(zip(columns, [cell.strip() for cell in cells] + [""] * len(columns), strict=False))
        yield Row(i, filled, _unit(sheet, i, filled["units"]) if filled.get("units") else inches)


def _refuse_two_units(rows: list[Row], sheet: Sheet) -> None:
    """Blame every head with a unit other than that of the table, once: one of the two is a slip."""
    words = {True: "inches", False: "mm"}
    for column, head in sheet.heads.items():
        other = next((row for row in rows if head.inches is not None and row.inches is (not head.inches)), None)
        if other is not None and head.inches is not None:
            reason = f"the head says {words[head.inches]}, the units of the table are {words[not head.inches]}"
            sheet.blame(other.number, column, reason, head.written, "one unit: change the head, or the units")


def _unit(sheet: Sheet, row: int, text: str) -> bool | None:
    """Whether a word for a unit means the inch."""
    inches = UNITS.get(text.strip().lower().strip("()[]"))
    if inches is None:
        sheet.blame(row, "units", f"{text!r} is not a known unit of length", text, "mm or inch")
    return inches
