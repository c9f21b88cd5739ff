"""A prescription as customers write it: shapes of tables of our own making, each a file name and its content.

Python's `csv` and `openpyxl` write them, so that what is read was not written by the reader's own hand.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

from openpyxl import Workbook

from shared_schemas.prescription import IndexGlass, Prescription

Content = tuple[str, bytes]
Rows = list[list[Any]]
INCH = Decimal("25.4")


def exact(value: float | None) -> Decimal | None:
    """A figure as it is written in decimal."""
    return None if value is None else Decimal(repr(value))


def number(value: Decimal | None, *, sign: str = ".", flat: str = "inf") -> str:
    """A figure in plain digits."""
    if value is None:
        return flat
    text = f"{value:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace(".", sign)


def glass(element: Any) -> str:
    """The glass of an element as one word."""
    return f"{element.glass.nd}/{element.glass.vd}" if isinstance(element.glass, IndexGlass) else element.glass


def surface_rows(lens: Prescription) -> list[tuple[str, Decimal | None, Decimal | None, str, Decimal, Decimal | None]]:
    """Rows of faces: name, radius, way to the next face, glass behind it, clear diameter, diameter of the element that begins."""
    rows: list[Any] = []
    for i, element in enumerate(lens.elements):
        space = lens.spaces[i] if i < len(lens.spaces) else None
        front, back = element.front, element.back
        rows.append(
            (
                "",
                exact(front.radius_mm),
                exact(element.centre_thickness_mm),
                glass(element),
                exact(front.clear_diameter_mm),
                exact(element.diameter_mm),
            )
        )
        if space is not None and space.cemented:
            continue
        gap = exact(space.gap_mm) if space is not None and space.gap_mm is not None else None
        stop = lens.stop if lens.stop is not None and lens.stop.after_element == i + 1 else None
        before = gap if stop is None else exact(stop.distance_mm)
        rows.append(("", exact(back.radius_mm), before, "", exact(back.clear_diameter_mm), None))
        if stop is not None and gap is not None:
            rows.append(("stop", None, gap - Decimal(repr(stop.distance_mm)), "", exact(stop.diameter_mm), None))
    return rows


def written(rows: Rows, delimiter: str = ",", encoding: str = "utf-8") -> bytes:
    """Rows as Python's csv writes them."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode(encoding)


def workbook(sheets: dict[str, Rows]) -> bytes:
    """Rows as openpyxl writes them."""
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def plain_csv(lens: Prescription) -> Content:
    """The usual columns, a point, commas."""
    rows: Rows = [["surface", "radius_mm", "thickness_mm", "glass", "clear_diameter_mm", "diameter_mm"]]
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        rows.append(
            [name or i, "" if is_stop else number(radius), number(way, flat=""), medium, number(clear), number(outer, flat="")]
        )
    return "lens.csv", written(rows)


def german_csv(lens: Prescription) -> Content:
    """German heads below title rows, decimal comma, semicolons, Latin-1."""
    rows: Rows = [
        ["Projekt: Objektiv Süd"],
        ["Kunde", "Müller Optik"],
        [],
        ["Alle Maße in mm"],
        ["Fläche", "Krümmungsradius", "Dicke/Abstand", "Glas", "freier Ø", "Außen-Ø"],
    ]
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        texts = [
            number(value, sign=",", flat=flat)
            for value, flat in ((radius, "" if is_stop else "plan"), (way, ""), (clear, ""), (outer, ""))
        ]
        rows.append(["Blende" if is_stop else i, "" if is_stop else texts[0], texts[1], medium or "Luft", texts[2], texts[3]])
    return "Objektiv.csv", written(rows, ";", "latin-1")


def french_tsv(lens: Prescription) -> Content:
    """French heads, decimal comma, tabs, UTF-16."""
    rows: Rows = [["Surface", "Rayon de courbure [mm]", "Épaisseur [mm]", "Verre", "Ø utile [mm]", "Ø extérieur [mm]"]]
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        rows.append([
            "diaphragme" if is_stop else f"S{i}", "" if is_stop else number(radius, sign=",", flat="plan"), number(way, sign=",", flat=""), medium or "air",
            number(clear, sign=","), number(outer, sign=",", flat=""),
        ])  # fmt: skip
    return "objectif.tsv", written(rows, "\t", "utf-16")


def inches(lens: Prescription) -> Content:
    """Curvatures and semi-diameters in inches by the heads, quantities above."""
    rows: Rows = [["Quantity", "10/50/200"], ["#", "Radius (in)", "Thickness (in)", "Material", "Semi-Diameter (in)", "OD (in)"]]
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        inch = [None if value is None else value / INCH for value in (radius, way, clear / 2, outer)]
        rows.append(
            [
                "STO" if is_stop else i,
                "" if is_stop else number(inch[0], flat="Infinity"),
                number(inch[1], flat=""),
                medium,
                number(inch[2]),
                number(inch[3], flat=""),
            ]
        )
    return "inch.csv", written(rows)


def workbook_below_titles(lens: Prescription) -> Content:
    """A workbook: a sheet of notes, and one with titles and heads with their units in a second row."""
    rows: Rows = [
        ["Lens for the viewer"],
        ["Revision", "B"],
        [],
        ["Surf", "R", "t", "Material", "CA", "OD"],
        [None, "mm", "mm", None, "mm", "mm"],
    ]
    rows.append(["OBJ", "Infinity", "Infinity", None, None, None])
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        rows.append([
            "STO" if is_stop else i, None if is_stop else (float(radius) if radius is not None else "plano"), None if way is None else float(way), medium or None,
            float(clear), None if outer is None else float(outer),
        ])  # fmt: skip
    rows.append(["IMA", None, None, None, None, None])
    return "lens.xlsx", workbook({"Notes": [["Please quote soon"]], "Lens": rows})


def pasted_bars(lens: Prescription) -> Content:
    """A table between bars, as text editors draw them."""
    lines = ["| No | R (mm) | d (mm) | glass | clear aperture | diameter |", "|---|---|---|---|---|---|"]
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        cells = [
            "stop" if is_stop else str(i),
            "" if is_stop else number(radius, flat="∞"),
            number(way, flat=""),
            medium or "air",
            number(clear),
            number(outer, flat=""),
        ]
        lines.append("| " + " | ".join(cells) + " |")
    return "what was pasted", "\n".join(lines).encode()


def pasted_blanks(lens: Prescription) -> Content:
    """A table that blanks hold in line, with columns that are empty here and there."""
    rows = [["Surface", "Radius mm", "Thickness mm", "Glass", "Clear dia. mm", "Outer dia. mm"]]
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        rows.append(
            [
                "Stop" if is_stop else str(i),
                "" if is_stop else number(radius, flat="flat"),
                number(way, flat=""),
                medium,
                number(clear),
                number(outer, flat=""),
            ]
        )
    widths = [max(len(row[column]) for row in rows) + 3 for column in range(6)]
    return "mail", "\n".join(
        "".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ).encode()


def pasted_right(lens: Prescription) -> Content:
    """The same with figures to the right of their columns."""
    _, text = pasted_blanks(lens)
    rows = list(text.decode().splitlines())
    table = [["Nr", "Radius/mm", "Dicke/mm", "Glas", "frei/mm", "aussen/mm"]]
    del rows
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        table.append(["Blende" if is_stop else str(i), "" if is_stop else number(radius, sign=",", flat="eben"), number(way, sign=",", flat=""), medium,
                      number(clear, sign=","), number(outer, sign=",", flat="")])  # fmt: skip
    table[0][4], table[0][5] = "Ø frei/mm", "Ø aussen/mm"
    widths = [max(len(row[column]) for row in table) + 2 for column in range(6)]
    return "mail", "\n".join("".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in table).encode()


def element_rows(lens: Prescription) -> list[tuple[Any, Decimal | None]]:
    """Elements, each with the air behind it: `None` for cement and behind the last."""
    spaces = [*lens.spaces, None]
    return [
        (element, None if space is None or space.cemented else exact(space.gap_mm))
        for element, space in zip(lens.elements, spaces, strict=True)
    ]


def elements_with_gaps(lens: Prescription) -> Content:
    """One row an element, the air behind it in a column."""
    rows: Rows = [["Lens", "R1", "R2", "CT", "Glass", "CA1", "CA2", "OD", "Air gap"]]
    for i, (element, gap) in enumerate(element_rows(lens)):
        last = i == len(lens.elements) - 1
        rows.append([
            element.name, number(exact(element.front.radius_mm)), number(exact(element.back.radius_mm)), number(exact(element.centre_thickness_mm)), glass(element),
            number(exact(element.front.clear_diameter_mm)), number(exact(element.back.clear_diameter_mm)), number(exact(element.diameter_mm)),
            "" if last else "cemented" if gap is None else number(gap),
        ])  # fmt: skip
    return "elements.csv", written([["All dimensions in mm"], *rows])


def elements_with_rows_of_air(lens: Prescription) -> Content:
    """One row an element, and rows of air or cement between them; German, decimal comma."""
    rows: Rows = [
        ["Linse", "R1 [mm]", "R2 [mm]", "Mittendicke [mm]", "Glas", "Ø frei 1 [mm]", "Ø frei 2 [mm]", "Außendurchmesser [mm]"]
    ]
    for i, (element, gap) in enumerate(element_rows(lens)):
        rows.append([
            element.name, *(number(exact(value), sign=",", flat="plan") for value in (element.front.radius_mm, element.back.radius_mm, element.centre_thickness_mm)),
            glass(element), *(number(exact(value), sign=",") for value in (element.front.clear_diameter_mm, element.back.clear_diameter_mm, element.diameter_mm)),
        ])  # fmt: skip
        if i < len(lens.elements) - 1:
            rows.append(["Kitt" if gap is None else "Luft", "", "", "" if gap is None else number(gap, sign=","), "", "", "", ""])
    return "Linsen.csv", written(rows, ";", "utf-8-sig")


def turned_workbook(lens: Prescription) -> Content:
    """The heads down the first column, a column an element."""
    heads = [
        "Element",
        "Radius 1 (mm)",
        "Radius 2 (mm)",
        "Center thickness (mm)",
        "Glass",
        "Clear aperture 1 (mm)",
        "Clear aperture 2 (mm)",
        "Diameter (mm)",
        "Gap (mm)",
    ]
    columns: Rows = [heads]
    for i, (element, gap) in enumerate(element_rows(lens)):
        last = i == len(lens.elements) - 1
        values = [element.front.radius_mm, element.back.radius_mm]
        columns.append([
            element.name, *("plano" if value is None else value for value in values), element.centre_thickness_mm, glass(element), element.front.clear_diameter_mm,
            element.back.clear_diameter_mm, element.diameter_mm, None if last else "cement" if gap is None else float(gap),
        ])  # fmt: skip
    return "turned.xlsx", workbook({"Sheet1": [list(row) for row in zip(*columns, strict=True)]})


def rows_of_json(lens: Prescription) -> Content:
    """A list of objects, one a surface."""
    rows = []
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        row = {"surface": name or i, "radius_mm": None if name else "inf" if radius is None else float(radius), "thickness_mm": None if way is None else float(way),
               "glass": medium or None, "clear_diameter_mm": float(clear), "diameter_mm": None if outer is None else float(outer)}  # fmt: skip
        rows.append({key: value for key, value in row.items() if value is not None})
    return "lens.json", json.dumps(rows).encode()


def centimetres_and_metres(lens: Prescription) -> Content:
    """Radii in m, thicknesses in cm, diameters in µm: each head says its unit."""
    rows: Rows = [["Surface", "Radius of curvature (m)", "Thickness (cm)", "Glass", "Clear diameter (µm)", "Outer diameter (mm)"]]
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        rows.append(["stop" if is_stop else i, "" if is_stop else number(None if radius is None else radius / 1000), number(None if way is None else way / 10, flat=""),
                     medium, number(clear * 1000), number(outer, flat="")])  # fmt: skip
    return "units.csv", written(rows)


def units_in_cells(lens: Prescription) -> Content:
    """Every figure with its unit behind it, signs for diameters before it, a thin minus."""
    rows: Rows = [["Surf.", "Radius", "Thickness", "Glass", "Clear Ø", "Outer Ø"]]
    for i, (name, radius, way, medium, clear, outer) in enumerate(surface_rows(lens), start=1):
        is_stop = name == "stop"
        rows.append([
            "STOP" if is_stop else i, "" if is_stop else "plano" if radius is None else f"R {number(radius)} mm".replace("-", "\u2212").replace("R ", "R="),
            "" if way is None else f"{number(way)} mm", medium, f"Ø{number(clear)} mm", "" if outer is None else f"⌀ {number(outer)}mm",
        ])  # fmt: skip
    return "cells.csv", written(rows, ";")


SHAPES: Sequence[Callable[[Prescription], Content]] = (
    plain_csv, german_csv, french_tsv, inches, workbook_below_titles, pasted_bars, pasted_blanks, pasted_right, elements_with_gaps, elements_with_rows_of_air,
    turned_workbook, rows_of_json, centimetres_and_metres, units_in_cells,
)  # fmt: skip
BY_ELEMENT = (elements_with_gaps, elements_with_rows_of_air, turned_workbook)
"""Shapes that have no place for a stop."""
