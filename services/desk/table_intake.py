"""A prescription becomes a table of surfaces, one row a surface, which reads back to the same geometry."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from decimal import Context, Decimal

from shared_schemas.csv_cells import guarded
from shared_schemas.prescription import Element, IndexGlass, Prescription, Surface

COLUMNS = ("surface", "radius_mm", "thickness_mm", "glass", "clear_diameter_mm", "diameter_mm")
ORDERS = ("4", "6", "8", "10", "12", "14", "16", "18", "20")

EXACT = Context(prec=700)
"""Digits enough for the sum of any two lengths."""

WHOLE = ("wavelength_nm", "entrance_pupil_diameter_mm", "field_half_angle_deg")


def table_of(prescription: Prescription) -> str:
    """The table of surfaces of a prescription, in mm; read again it gives the same geometry.

    Columns for conic, aspheric terms and names of elements are there where they are needed. Tolerances, coatings, the barrel
    and the title have no place in a table of surfaces.
    """
    elements = prescription.elements
    faces = [surface for element in elements for surface in (element.front, element.back)]
    more = ["conic"] if any(face.conic != 0 for face in faces) else []
    more += [f"a{order}" for order in ORDERS if any(face.asphere.get(order) for face in faces)]
    if any(element.name != f"L{i}" for i, element in enumerate(elements, start=1)):
        more.append("element")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for name in WHOLE:
        value = getattr(prescription, name)
        if value is not None and value != Prescription.model_fields[name].default:
            writer.writerow([name, _text(value)])
    columns = [*COLUMNS, *more]
    writer.writerow(columns)
    writer.writerows([guarded(cells.get(column, "")) for column in columns] for cells in _numbered(_rows(prescription)))
    return out.getvalue()


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
        if space is not None and space.cemented and here is None and _same_face(element.back, elements[i + 1].front):
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
    return _face_cells(element.front) | {
        "thickness_mm": _text(element.centre_thickness_mm),
        "glass": f"{_text(glass.nd)}/{_text(glass.vd)}" if isinstance(glass, IndexGlass) else glass,
        "diameter_mm": _text(element.diameter_mm),
        "element": element.name,
    }


def _face_cells(surface: Surface) -> dict[str, str]:
    terms = {f"a{order}": _text(term) for order, term in surface.asphere.items() if term != 0}
    conic = {"conic": _text(surface.conic)} if surface.conic != 0 else {}
    return {
        "radius_mm": "inf" if surface.radius_mm is None else _text(surface.radius_mm),
        "clear_diameter_mm": _text(surface.clear_diameter_mm),
        **conic,
        **terms,
    }


def _stop_row(diameter_mm: float, thickness: str) -> dict[str, str]:
    return {"surface": "stop", "thickness_mm": thickness, "clear_diameter_mm": _text(diameter_mm)}


def _same_face(one: Surface, other: Surface) -> bool:
    return _face_cells(one) == _face_cells(other)


def _text(value: float | Decimal) -> str:
    """The shortest decimal that reads back as the same number, without a useless `.0`."""
    if isinstance(value, Decimal):
        return "0" if value == 0 else str(value.normalize(EXACT)) if "E" in str(value) else format(value.normalize(EXACT), "f")
    return "0" if value == 0 else repr(float(value)).removesuffix(".0")
