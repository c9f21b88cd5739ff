"""A table of surfaces becomes a prescription, and a prescription a table; every cell that says nothing usable is named by row and column.

One row a surface, front to back: surface, radius_mm, thickness_mm, glass, clear_diameter_mm, diameter_mm, and where they are
needed conic, a4 to a20 and element (its name). The heads may be other words of the trade, curvatures and semi-diameters do, and
a head may end in a unit, as in `Radius (in)`; a line `units,inch` before the heads or a column `units` sets it for all.
A row with a glass is the front of an element, and its thickness that of the glass; two such rows one after the other are
cemented. A row without a glass is followed by air, one whose glass is `cement` by cement. A row called `stop` is the stop;
`object` and `image` rows may be there. The separator is a comma, a semicolon or a tab; the decimal sign a point or a comma.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Context, Decimal
from typing import Any

from pydantic import ValidationError

from services.chassis.problems import details_of_invalid
from services.desk.errors import TableUnreadable
from services.desk.table_cells import COLUMNS, FLAT, MOST_ROWS, ORDERS, Row, Sheet, rows_of
from shared_schemas.csv_cells import guarded
from shared_schemas.prescription import Element, IndexGlass, Prescription, Surface

__all__ = ["MOST_ROWS", "prescription_from_table", "table_of"]

BY_INDEX = re.compile(
    r"(?:nd?\s*=?\s*)?([1-4](?:[.,][0-9]+)?)\s*[/:; ]\s*(?:vd?\s*=?\s*)?([0-9]{1,3}(?:[.,][0-9]+)?)", re.IGNORECASE
)
"""A glass by index and Abbe number: `1.5168/64.17`."""

FIELDS = {"centre_thickness_mm": "thickness_mm", "gap_mm": "thickness_mm", "object_distance_mm": "thickness_mm", "name": "element"}


def prescription_from_table(text: str, *, title: str, name: str = "the table") -> Prescription:
    """The prescription that a table of surfaces describes. Raises `TableUnreadable` with every cell that needs mending."""
    sheet = Sheet(name)
    rows = rows_of(text, sheet)
    sheet.refuse_if_any()
    read = _Reading(sheet, title)
    read.all(rows)
    sheet.refuse_if_any()
    if not read.elements:
        raise TableUnreadable(name, "no row names a glass, so there is no element in it")
    document = read.document()
    sheet.refuse_if_any()
    try:
        return Prescription.model_validate(document)
    except ValidationError as fault:
        for detail in details_of_invalid(fault.errors(), document):
            row, column = read.cell_of(detail.pointer)
            sheet.blame(row, column, detail.reason, detail.figure, detail.remedy or "another value")
        sheet.refuse_if_any()
        raise


@dataclass
class _Reading:
    """What has been read so far, front to back. `behind` is the way from the last face on and `medium` what
    lies there, `origin` the row of each place."""

    sheet: Sheet
    title: str
    elements: list[dict[str, Any]] = field(default_factory=list)
    spaces: list[dict[str, Any]] = field(default_factory=list)
    whole: dict[str, Any] = field(default_factory=dict)
    origin: dict[str, int] = field(default_factory=dict)
    behind: list[Decimal] = field(default_factory=list)
    before: Row | None = None
    medium: str = "air"

    def document(self) -> dict[str, Any]:
        """The prescription as JSON has it."""
        said: dict[str, Any] = {}
        for key, (row, text) in self.sheet.preamble.items():
            if key != "units":
                said[key] = self.sheet.plain_number(row, key, text)
                self.origin[f"/{key}"] = row
        return {"title": self.title, "elements": self.elements, "spaces": self.spaces, **self.whole, **said}

    def all(self, rows: list[Row]) -> None:
        """Every row in turn; object and image may go without their names at the ends."""
        body = [row for row in rows if row.kind != "image"]
        if body and _is_unnamed_object(body[0]):
            self._object(body.pop(0))
        if len(body) > 2 and _is_unnamed_image(body[-1], body[-2]):
            body.pop()
        for i, row in enumerate(body):
            following = body[i + 1] if i + 1 < len(body) else None
            if row.kind == "object":
                self._object_first(row, i)
            elif row.kind == "stop":
                self._stop(row, last=following is None)
            else:
                self._face(row, following)
            self.before = row

    def _object_first(self, row: Row, place: int) -> None:
        if place > 0:
            self.sheet.blame(
                row.number, "surface", "the object comes after other rows", row.cells["surface"], "one object, in the first row"
            )
        else:
            self._object(row)

    def _object(self, row: Row) -> None:
        self.origin["/object_distance_mm"] = row.number
        if row.lowered("thickness_mm") not in FLAT and not _is_huge(row.lowered("thickness_mm")):
            self.whole["object_distance_mm"] = self.sheet.number(row, "thickness_mm")

    def _stop(self, row: Row, *, last: bool) -> None:
        """The stop lies behind the last element by the air before it, or before the first by the air that follows it."""
        if self.elements:
            self._place_stop(row, exact_sum(self.behind))
            if not last:
                self.behind.append(self.sheet.length(row, "thickness_mm", above_zero=False))
        else:
            self._place_stop(row, -(self.sheet.number(row, "thickness_mm", above_zero=False) or 0.0))

    def _place_stop(self, row: Row, distance_mm: float) -> None:
        if "stop" in self.whole:
            self.sheet.blame(row.number, "surface", "there is a stop already", "stop", "one stop")
        self.origin["/stop"] = row.number
        diameter = (self.sheet if row.kind == "stop" else self.sheet.quiet()).number(row, "clear_diameter_mm")
        self.whole["stop"] = {"after_element": len(self.elements), "distance_mm": distance_mm, "diameter_mm": diameter}

    def _face(self, row: Row, following: Row | None) -> None:
        inside = self.before is not None and self.before.kind == "face" and self.before.medium == "glass"
        if row.is_stop and row.medium == "glass":
            self._place_stop(row, exact_sum(self.behind) if self.elements else 0.0)
        if row.medium == "glass":
            self._front(row, following, cemented=inside)
        elif not inside:
            reason = "no glass comes before or after this face"
            self.sheet.blame(row.number, "glass", reason, row.cells["glass"] or None, "name the glass that begins here")
        if row.medium != "glass":
            if row.is_stop:
                self._place_stop(row, 0.0)
            self.behind = [] if following is None else [self._air(row, following)]

    def _front(self, row: Row, following: Row | None, *, cemented: bool) -> None:
        if self.elements:
            self.spaces.append({"cemented": True} if cemented else self._space(row))
        self.behind = []
        if following is None or following.kind != "face":
            self.sheet.blame(
                row.number, "glass", "the element has no back face", row.cells["glass"], "add the row of its back face"
            )
            return
        place = len(self.elements)
        self.origin |= {f"/elements/{place}/front": row.number, f"/elements/{place}/back": following.number}
        self.elements.append(self._element(row, following, place + 1))

    def _space(self, row: Row) -> dict[str, Any]:
        gap = exact_sum(self.behind)
        if self.medium != "cement":
            return {"gap_mm": gap}
        if gap != 0:
            reason = f"the cement before this face is {gap:g} mm thick; a prescription has none"
            self.sheet.blame(row.number, "thickness_mm", reason, gap, "a thickness of 0 in the row of the cement")
        return {"cemented": True}

    def _air(self, row: Row, following: Row) -> Decimal:
        """The way behind a face [mm]; before a stop it may be below 0, for a stop that lies within glass."""
        self.medium = row.medium
        if re.fullmatch(r"[+-]?0*[.,]?0+", row.cells["thickness_mm"]):
            return Decimal(0)
        return self.sheet.length(row, "thickness_mm", above_zero=following.kind != "stop")

    def _element(self, front: Row, back: Row, position: int) -> dict[str, Any]:
        return {
            "name": front.cells.get("element") or f"L{position}",
            "glass": _glass(front.cells["glass"]),
            "diameter_mm": self._diameter(front, back),
            "centre_thickness_mm": self.sheet.number(front, "thickness_mm"),
            "front": _surface(front, self.sheet),
            "back": _surface(back, self.sheet.quiet() if back.medium == "glass" else self.sheet),
        }

    def _diameter(self, front: Row, back: Row) -> float | None:
        """The diameter of an element stands in the row of its front, or of its back when no other element begins there."""
        other = back.cells.get("diameter_mm") if back.medium != "glass" else ""
        if not front.cells.get("diameter_mm"):
            if other:
                return self.sheet.number(back, "diameter_mm")
            self.sheet.blame(
                front.number, "diameter_mm", "the element has no diameter", None, "the diameter of the finished element"
            )
            return None
        value = self.sheet.number(front, "diameter_mm")
        if other and value is not None:
            second = self.sheet.number(back, "diameter_mm")
            if second is not None and second != value:
                reason = f"the front of the element says {value:g}"
                self.sheet.blame(back.number, "diameter_mm", reason, second, "one diameter for both faces")
        return value

    def cell_of(self, pointer: str) -> tuple[int, str]:
        """Row and column of a place in the prescription."""
        steps = pointer.split("/")
        column = FIELDS.get(steps[-1], steps[-1] or "surface")
        if steps[1:2] == ["spaces"] and len(steps) > 2:
            return self.origin.get(f"/elements/{steps[2]}/back", 1), column
        if steps[1:2] == ["stop"]:
            return self.origin["/stop"], "clear_diameter_mm" if column == "diameter_mm" else "thickness_mm"
        if "asphere" in steps:
            column = f"a{steps[-1]}"
        places = ("/".join(steps[:4]), "/".join(steps[:3]) + "/front", pointer)
        return next((self.origin[place] for place in places if place in self.origin), 1), column


def _surface(row: Row, sheet: Sheet) -> dict[str, Any]:
    return {
        "radius_mm": sheet.radius(row),
        "clear_diameter_mm": sheet.number(row, "clear_diameter_mm"),
        "conic": sheet.optional(row, "conic"),
        "asphere": sheet.terms(row),
    }


def _glass(text: str) -> str | dict[str, float]:
    by_index = BY_INDEX.fullmatch(text)
    if by_index is None:
        return text
    nd, vd = (float(figure.replace(",", ".")) for figure in by_index.groups())
    return {"nd": nd, "vd": vd}


def _is_unnamed_object(row: Row) -> bool:
    """A first row without a glass that is flat and endlessly far, or has the number 0."""
    far = row.lowered("thickness_mm") in FLAT[1:] or _is_huge(row.lowered("thickness_mm"))
    return row.kind == "face" and row.medium == "air" and row.is_flat and (far or row.lowered("surface") == "0")


def _is_unnamed_image(row: Row, before: Row) -> bool:
    """A last row in air that is flat, behind the back face of the last element."""
    return row.kind == "face" and row.medium == "air" and row.is_flat and before.kind == "face" and before.medium == "air"


def _is_huge(text: str) -> bool:
    return bool(re.fullmatch(r"\+?[0-9.]+e\+?[0-9]{1,4}", text)) and float(text) >= 1e8


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


def exact_sum(lengths_mm: Sequence[Decimal]) -> float:
    """The sum of lengths as they are written in decimal: 2.0 and 9.85 give 11.85."""
    total = Decimal(0)
    for length_mm in lengths_mm:
        total = EXACT.add(total, length_mm)
    return float(total)


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
