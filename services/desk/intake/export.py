"""A prescription or a request becomes a table, one row a surface, which reads back to the same bytes."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from decimal import Context, Decimal
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell as SheetCell

from services.desk.intake.meanings import VERBATIM, read_cell
from services.desk.intake.reading import tidy
from shared_schemas.csv_cells import guarded
from shared_schemas.prescription import CoatingDemand, Element, IndexGlass, Prescription, Surface, Tolerances
from shared_schemas.quote_request import QuoteRequest

COLUMNS = ("surface", "radius_mm", "thickness_mm", "glass", "clear_diameter_mm", "diameter_mm")
ORDERS = ("4", "6", "8", "10", "12", "14", "16", "18", "20")
OF_FACE = {
    "form": "form",
    "surface_quality": "imperfections",
    "texture": "texture",
    "laser_damage": "laser_damage",
    "coating": "coating",
}
OF_ELEMENT = {
    "diameter_tolerance": "diameter_mm", "thickness_tolerance": "centre_thickness_mm", "centring": "centring", "bubbles": "bubbles",
    "inhomogeneity": "inhomogeneity", "stress_birefringence": "stress_birefringence",
}  # fmt: skip
"""Heads of columns, and the fields of a face, of an element or of its tolerances that stand below them."""

MORE = ("conic", *(f"a{order}" for order in ORDERS), "element", *OF_FACE, *OF_ELEMENT)
WHOLE = (
    "wavelength_nm", "entrance_pupil_diameter_mm", "field_half_angle_deg", "barrel", "transmitted_wavefront", "assembly_imperfections",
    "first_article", "remarks",
)  # fmt: skip
"""Fields of a prescription that stand above the heads, those of surfaces, spaces and the stop being in the rows."""

IN_WORDS = ("title", "customer", "reference", "contact", "currency", "needed_by", "customer_class", "delivered", "repeats")
PLAIN = re.compile(r"[A-Za-z0-9]+(?:[ ._/-][A-Za-z0-9()]+)*")
UNITS = re.compile(r"\b(?:mm|cm|in|inch(?:es)?|zoll|units?|dimensions?|lengths?)\b", re.IGNORECASE)
FIGURE_COLUMNS = ("radius_mm", "thickness_mm", "clear_diameter_mm", "diameter_mm", "conic", *(f"a{order}" for order in ORDERS))
EXACT = Context(prec=700)
"""Digits enough for the sum of any two lengths."""


def table_of(document: Prescription | QuoteRequest) -> str:
    """The table as CSV, in mm. Columns and lines that would say nothing are left out."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([guarded(text) for text in row] for row in rows_of(document))
    return out.getvalue()


def workbook_of(document: Prescription | QuoteRequest) -> bytes:
    """The table as a workbook: figures are numbers there, all else is text, and so is a figure of more digits than a workbook keeps."""
    book = Workbook()
    sheet = book.active
    rows = rows_of(document)
    heads = next(row for row in rows if row[0] == COLUMNS[0])
    below = rows.index(heads)
    for number, row in enumerate(rows, 1):
        for column, text in enumerate(row, 1):
            if not text:
                continue
            cell: SheetCell = sheet.cell(row=number, column=column)
            figure = number > below + 1 and heads[column - 1] in FIGURE_COLUMNS and text != "inf"
            exact = figure and float(f"{float(text):.16g}") == float(text)
            cell.value = float(text) if exact else text
            if not exact:
                cell.data_type = "s"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def rows_of(document: Prescription | QuoteRequest) -> list[list[str]]:
    """The rows of the table: lines of a key and a value, the heads, and a row for each surface."""
    request = document if isinstance(document, QuoteRequest) else None
    prescription = request.prescription if request is not None else document
    assert isinstance(prescription, Prescription)
    lines = [["units", "mm"], ["title", _word(prescription.title)]]
    lines += _lines(prescription, WHOLE)
    if request is not None:
        lines += _lines(
            request, [name for name in QuoteRequest.model_fields if name != "prescription"], always=("quantities", "currency")
        )
    rows = list(_numbered(_rows(prescription)))
    columns = [*COLUMNS, *(column for column in MORE if any(row.get(column) for row in rows) and not _is_usual(column, rows))]
    return [*lines, columns, *([row.get(column, "") for column in columns] for row in rows)]


def _lines(
    document: Prescription | QuoteRequest, names: tuple[str, ...] | list[str], always: tuple[str, ...] = ()
) -> list[list[str]]:
    """A line for each field that is not as it would be without one."""
    values = document.model_dump(mode="json")
    fields = type(document).model_fields
    found = []
    for name in names:
        default = fields[name].get_default(call_default_factory=True)
        if name in values and (name in always or getattr(document, name) != default):
            found.append([name, _line_value(name, values[name])])
    return found


def _line_value(name: str, value: Any) -> str:
    if name == "quantities":
        return "; ".join(map(str, value))
    if isinstance(value, str):
        return _word(value) if name in IN_WORDS else _json(value)
    return _text(value) if isinstance(value, float) else _json(_said(value))


def _json(value: Any) -> str:
    """JSON in which no blanks stand beside each other, which a spreadsheet or a reader may take for one."""
    return json.dumps(value, ensure_ascii=False).replace("  ", " \\u0020")


def _said(value: Any) -> Any:
    """A document without the fields that say nothing."""
    if isinstance(value, dict):
        return {name: _said(inner) for name, inner in value.items() if inner is not None}
    return [_said(inner) for inner in value] if isinstance(value, list) else value


def _word(text: str) -> str:
    """A text that reads back as it is: plain where it has no sign that a line may lose, else as JSON has it."""
    return text if PLAIN.fullmatch(text) and not UNITS.search(text) else _json(text)


def _is_usual(column: str, rows: list[dict[str, str]]) -> bool:
    """Whether the elements are called L1, L2 and so on, which needs no column."""
    if column != "element":
        return False
    names = [row["element"] for row in rows if row.get("element")]
    return names == [f"L{position}" for position in range(1, len(names) + 1)]


def _numbered(rows: Iterator[dict[str, str]]) -> Iterator[dict[str, str]]:
    number = 0
    for cells in rows:
        if "surface" in cells:
            yield cells
        else:
            number += 1
            yield {"surface": str(number), **cells}


def _rows(prescription: Prescription) -> Iterator[dict[str, str]]:
    stop = prescription.stop
    if prescription.object_distance_mm is not None:
        yield {"surface": "object", "radius_mm": "inf", "thickness_mm": _text(prescription.object_distance_mm)}
    if stop is not None and stop.after_element == 0:
        yield _stop_row(stop.diameter_mm, _text(-stop.distance_mm))
    elements = prescription.elements
    for i, element in enumerate(elements):
        space = prescription.spaces[i] if i < len(prescription.spaces) else None
        here = stop if stop is not None and stop.after_element == i + 1 else None
        yield _front_row(element)
        if space is not None and space.cemented and here is None and element.back == elements[i + 1].front:
            continue
        back = _face_cells(element.back) | ({"glass": "cement"} if space is not None and space.cemented else {})
        gap = None if space is None else Decimal(repr(float(space.gap_mm or 0.0)))
        if here is None:
            yield back | ({} if gap is None else {"thickness_mm": _text(gap)})
            continue
        yield back | {"thickness_mm": _text(here.distance_mm)}
        rest = "" if gap is None else _text(EXACT.subtract(gap, Decimal(repr(float(here.distance_mm)))))
        yield _stop_row(here.diameter_mm, rest)


def _front_row(element: Element) -> dict[str, str]:
    glass = element.glass
    written = f"{_text(glass.nd)}/{_text(glass.vd)}" if isinstance(glass, IndexGlass) else _exact("glass", "glass", glass)
    return (
        _face_cells(element.front)
        | _element_cells(element)
        | {
            "thickness_mm": _text(element.centre_thickness_mm),
            "glass": written,
            "diameter_mm": _text(element.diameter_mm),
            "element": element.name,
        }
    )


def _element_cells(element: Element) -> dict[str, str]:
    tolerances = element.tolerances
    cells = {}
    if tolerances.diameter_mm is not None:
        cells["diameter_tolerance"] = "/".join(f"{'' if limit < 0 else '+'}{_text(limit)}" for limit in tolerances.diameter_mm)
    if tolerances.centre_thickness_mm is not None:
        cells["thickness_tolerance"] = f"±{_text(tolerances.centre_thickness_mm)}"
    for column, name in OF_ELEMENT.items():
        value = getattr(tolerances if name in Tolerances.model_fields else element, name)
        if isinstance(value, str):
            cells[column] = _exact(column, f"tolerances.{name}" if name in Tolerances.model_fields else name, value)
    return cells


def _face_cells(surface: Surface) -> dict[str, str]:
    cells = {
        "radius_mm": "inf" if surface.radius_mm is None else _text(surface.radius_mm),
        "clear_diameter_mm": _text(surface.clear_diameter_mm),
    }
    if surface.conic != 0:
        cells["conic"] = _text(surface.conic)
    cells |= {f"a{order}": _text(term) for order, term in surface.asphere.items() if term != 0}
    for column, name in OF_FACE.items():
        value = getattr(surface, name)
        if isinstance(value, CoatingDemand):
            cells[column] = _demand(value)
        elif value is not None:
            cells[column] = _exact(column, name, value)
    return cells


def _exact(kind: str, name: str, value: str) -> str:
    """A text as it stands where it is read as itself, else marked to be read so."""
    reading = read_cell(kind, value)
    return (
        value
        if reading.values == {name: value} and reading.plain and not reading.rule and tidy(value) == value
        else f"{VERBATIM}{value}"
    )


def _demand(demand: CoatingDemand) -> str:
    """What a coating is to do as a drawing has it, or as JSON has it where that would lose a digit."""
    document = demand.model_dump(mode="json")
    written = str(demand)
    return written if read_cell("coating", written).values == {"coating": document} else json.dumps(document)


def _stop_row(diameter_mm: float, thickness: str) -> dict[str, str]:
    return {"surface": "stop", "thickness_mm": thickness, "clear_diameter_mm": _text(diameter_mm)}


def _text(value: float | Decimal) -> str:
    """The shortest decimal that reads back as the same number, without a useless `.0`."""
    if isinstance(value, Decimal):
        return "0" if value == 0 else str(value.normalize(EXACT)) if "E" in str(value) else format(value.normalize(EXACT), "f")
    return "0" if value == 0 else repr(float(value)).removesuffix(".0")
