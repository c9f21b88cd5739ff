"""A table of surfaces becomes a prescription; every cell that says nothing usable is named by row and column.

One row a surface, front to back: surface, radius_mm, thickness_mm, glass, clear_diameter_mm, diameter_mm.
A row with a glass is the front of an element, and its thickness that of the glass; two such rows one after the other are
cemented. A row without a glass is followed by air. A row whose surface is called `stop` is the stop; `object` and
`image` rows may be there. The separator is a comma, a semicolon or a tab; with the latter two a decimal comma may be used.
"""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from services.chassis.problems import details_of_invalid
from services.desk.errors import TableUnreadable
from shared_schemas.prescription import Prescription
from shared_schemas.problem import ProblemDetail

COLUMNS = ("surface", "radius_mm", "thickness_mm", "glass", "clear_diameter_mm", "diameter_mm")
NEEDED = ("radius_mm", "thickness_mm", "glass", "clear_diameter_mm")
FLAT = ("inf", "infinity", "plano", "flat", "∞", "")
MOST_ROWS = 200
AIR = ("", "air")


@dataclass(frozen=True)
class Row:
    """One line of the table; `number` counts as a spreadsheet does, the heads are row 1."""

    number: int
    cells: dict[str, str]
    decimal_comma: bool

    @property
    def kind(self) -> str:
        """`stop`, `object`, `image`, `glass` (an element begins here) or `air`."""
        named = self.cells["surface"].lower()
        if named in ("stop", "object", "image"):
            return named
        return "air" if self.cells["glass"].lower() in AIR else "glass"


@dataclass
class Sheet:
    """The rows of one table with the faults found so far."""

    name: str
    faults: list[ProblemDetail] = field(default_factory=list)

    def blame(self, row: int, column: str, reason: str, figure: Any, remedy: str) -> None:
        """Note that a cell is of no use."""
        self.faults.append(
            ProblemDetail(pointer=f"/row {row}/{column}", reason=f"row {row}, {column}: {reason}", figure=figure, remedy=remedy)
        )

    def refuse_if_any(self) -> None:
        """Raise `TableUnreadable` with every fault noted."""
        if self.faults:
            count = len(self.faults)
            first = self.faults[0].reason
            raise TableUnreadable(
                self.name, f"{count} {'cell needs' if count == 1 else 'cells need'} mending; first: {first}", *self.faults
            )

    def number(self, row: Row, column: str, *, above_zero: bool = True) -> float | None:
        """The number in a cell, `None` and a fault when there is none."""
        text = row.cells[column]
        plain = text.replace(",", ".") if row.decimal_comma else text
        if not re.fullmatch(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", plain) or not math.isfinite(float(plain)):
            reason = f"{text!r} is no number" if text else "the cell is empty"
            self.blame(row.number, column, reason, text or None, "a number such as 12.5, without a unit")
            return None
        value = float(plain)
        if above_zero and value <= 0:
            self.blame(row.number, column, f"{text} is not above 0", value, "a length above 0 mm")
            return None
        return value

    def radius(self, row: Row) -> float | None:
        """The signed radius, `None` for a flat face."""
        if row.cells["radius_mm"].lower().lstrip("+-") in FLAT:
            return None
        value = self.number(row, "radius_mm", above_zero=False)
        if value == 0:
            self.blame(
                row.number, "radius_mm", "a radius of 0 has no surface", 0.0, "write inf, or leave the cell empty, for a flat face"
            )
        return value


def prescription_from_table(text: str, *, title: str, name: str = "the table") -> Prescription:
    """The prescription that a table of surfaces describes. Raises `TableUnreadable` with every cell that needs mending."""
    sheet = Sheet(name)
    rows = _rows(text, sheet)
    sheet.refuse_if_any()
    document, origin = _document(rows, sheet, title)
    sheet.refuse_if_any()
    try:
        return Prescription.model_validate(document)
    except ValidationError as fault:
        for detail in details_of_invalid(fault.errors(), document):
            row, column = _cell_of(detail.pointer, origin)
            sheet.blame(row, column, detail.reason, detail.figure, detail.remedy or "another value")
        sheet.refuse_if_any()
        raise


def _rows(text: str, sheet: Sheet) -> list[Row]:
    lines = text.lstrip("\ufeff").splitlines()
    head = next((i for i, line in enumerate(lines) if line.strip()), None)
    if head is None:
        raise TableUnreadable(sheet.name, "it is empty; the first row must name the columns " + ", ".join(COLUMNS))
    separator = max("\t;,", key=lines[head].count)
    names = [re.sub(r"[\s-]+", "_", cell.strip().lower()) for cell in next(csv.reader([lines[head]], delimiter=separator))]
    _refuse_heads(names, head + 1, sheet)
    rows = []
    for i, cells in enumerate(csv.reader(lines[head + 1 :], delimiter=separator), start=head + 2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > len(names) and any(cell.strip() for cell in cells[len(names) :]):
            sheet.blame(i, "(none)", f"the row has {len(cells)} cells, the heads are {len(names)}", len(cells),
                        "use ; as separator when the numbers have a decimal comma")  # fmt: skip
            continue
        filled = dict(zip(names, [cell.strip() for cell in cells] + [""] * len(names), strict=False))
        rows.append(Row(i, {column: filled.get(column, "") for column in COLUMNS}, decimal_comma=separator != ","))
    if len(rows) > MOST_ROWS:
        raise TableUnreadable(sheet.name, f"it has {len(rows)} rows, at most {MOST_ROWS} are read")
    return rows


def _refuse_heads(names: list[str], row: int, sheet: Sheet) -> None:
    for column in NEEDED:
        if column not in names:
            sheet.blame(row, column, "the column is missing", None, "the columns are " + ", ".join(COLUMNS))
    for column in dict.fromkeys(name for name in names if name not in COLUMNS or names.count(name) > 1):
        why = "there are two of it" if column in COLUMNS else "no such column is known"
        sheet.blame(row, column or "(empty)", why, column, "the columns are " + ", ".join(COLUMNS))
    sheet.refuse_if_any()


def _document(rows: list[Row], sheet: Sheet, title: str) -> tuple[dict[str, Any], dict[str, int]]:
    """The prescription as JSON has it, and the row that each face of each element came from."""
    document: dict[str, Any] = {"title": title, "elements": [], "spaces": []}
    origin: dict[str, int] = {}
    elements: list[dict[str, Any]] = document["elements"]
    gap, before = 0.0, None
    body = [row for row in rows if row.kind != "image"]
    for i, row in enumerate(body):
        following = body[i + 1] if i + 1 < len(body) else None
        if row.kind == "object":
            _object(row, sheet, document)
        elif row.kind == "stop":
            _stop(row, sheet, document, gap if elements else None)
            gap += _thickness(row, sheet, last=following is None)
        else:
            if row.kind == "glass":
                if elements:
                    cemented = before is not None and before.kind == "glass"
                    document["spaces"].append({"cemented": True} if cemented else {"gap_mm": gap})
                if following is None or following.kind in ("stop", "object"):
                    sheet.blame(
                        row.number, "glass", "the element has no back face", row.cells["glass"], "add the row of its back face"
                    )
                    following = None
                else:
                    origin[f"/elements/{len(elements)}/front"] = row.number
                    origin[f"/elements/{len(elements)}/back"] = following.number
                    elements.append(_element(row, following, sheet, len(elements) + 1))
            elif before is None or before.kind != "glass":
                sheet.blame(
                    row.number, "glass", "no glass comes before or after this face", None, "name the glass that begins here"
                )
            gap = _thickness(row, sheet, last=following is None) if row.kind == "air" else 0.0
        before = row
    if not elements and not sheet.faults:
        raise TableUnreadable(sheet.name, "no row names a glass, so there is no element in it")
    return document, origin


def _element(front: Row, back: Row, sheet: Sheet, position: int) -> dict[str, Any]:
    return {
        "name": f"L{position}",
        "glass": front.cells["glass"],
        "diameter_mm": _diameter(front, back, sheet),
        "centre_thickness_mm": sheet.number(front, "thickness_mm"),
        "front": {"radius_mm": sheet.radius(front), "clear_diameter_mm": sheet.number(front, "clear_diameter_mm")},
        "back": {"radius_mm": _quietly(sheet).radius(back), "clear_diameter_mm": _quietly(sheet).number(back, "clear_diameter_mm")}
        if back.kind == "glass"
        else {"radius_mm": sheet.radius(back), "clear_diameter_mm": sheet.number(back, "clear_diameter_mm")},
    }


def _quietly(sheet: Sheet) -> Sheet:
    """A sheet whose faults are dropped: the shared face of a cemented pair is read twice and blamed once."""
    return Sheet(sheet.name)


def _diameter(front: Row, back: Row, sheet: Sheet) -> float | None:
    """The diameter of an element stands in the row of its front, or of its back when no other element begins there."""
    other = back.cells["diameter_mm"] if back.kind == "air" else ""
    if not front.cells["diameter_mm"]:
        if other:
            return sheet.number(back, "diameter_mm")
        sheet.blame(front.number, "diameter_mm", "the element has no diameter", None, "the diameter of the finished element in mm")
        return None
    value = sheet.number(front, "diameter_mm")
    if other and value is not None:
        second = sheet.number(back, "diameter_mm")
        if second is not None and second != value:
            sheet.blame(
                back.number, "diameter_mm", f"the front of the element says {value:g}", second, "one diameter for both faces"
            )
    return value


def _thickness(row: Row, sheet: Sheet, *, last: bool) -> float:
    """The air behind a face; behind the last one it is the way to the image and not read."""
    if last:
        return 0.0
    if row.cells["thickness_mm"] in ("0", "0.0", "0,0"):
        return 0.0
    return sheet.number(row, "thickness_mm", above_zero=row.kind != "stop") or 0.0


def _object(row: Row, sheet: Sheet, document: dict[str, Any]) -> None:
    if row.cells["thickness_mm"].lower() not in FLAT:
        document["object_distance_mm"] = sheet.number(row, "thickness_mm")


def _stop(row: Row, sheet: Sheet, document: dict[str, Any], gap_before: float | None) -> None:
    """The stop lies behind the last element by the air before it, or before the first by the air that follows it."""
    if "stop" in document:
        sheet.blame(row.number, "surface", "there is a stop already", "stop", "one stop")
    distance = gap_before if gap_before is not None else -(_quietly(sheet).number(row, "thickness_mm", above_zero=False) or 0.0)
    document["stop"] = {
        "after_element": len(document["elements"]),
        "distance_mm": distance,
        "diameter_mm": sheet.number(row, "clear_diameter_mm"),
    }


def _cell_of(pointer: str, origin: dict[str, int]) -> tuple[int, str]:
    """Row and column of a place in the prescription."""
    column = pointer.rsplit("/", 1)[-1] or "surface"
    column = {"centre_thickness_mm": "thickness_mm", "gap_mm": "thickness_mm"}.get(column, column)
    steps = pointer.split("/")
    if steps[1:2] == ["spaces"]:
        return origin.get(f"/elements/{steps[2]}/back", 1), column
    for face in (pointer.rsplit("/", 1)[0], "/".join(steps[:3]) + "/front"):
        if face in origin:
            return origin[face], column if column in COLUMNS else "surface"
    return 1, column if column in COLUMNS else "surface"
