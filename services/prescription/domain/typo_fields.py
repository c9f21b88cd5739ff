"""A change of a prescription as the fields that it sets, so that whoever keeps the prescription can make it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.prescription.domain.typos import Edit
from shared_schemas.check import FieldChange
from shared_schemas.prescription import Prescription, Surface


def fields_after(prescription: Prescription, edits: Sequence[Edit]) -> tuple[FieldChange, ...]:
    """Every field that the edits set, with its value then, in the digits that it was written with."""
    return tuple(field for edit in edits for field in _fields(prescription, edit))


def _fields(prescription: Prescription, edit: Edit) -> Iterator[FieldChange]:
    place = f"/elements/{edit.face // 2}"
    if edit.column == "way":
        way = place + "/centre_thickness_mm" if edit.face % 2 == 0 else f"/spaces/{edit.face // 2}/gap_mm"
        yield FieldChange(pointer=way, becomes=_times(_way_mm(prescription, edit.source), edit.factor))
    elif edit.column == "glass":
        glass = prescription.elements[edit.source // 2].glass
        yield FieldChange(pointer=f"{place}/glass", becomes=glass if isinstance(glass, str) else glass.model_dump(mode="json"))
    else:
        face, source = f"{place}/{'back' if edit.face % 2 else 'front'}", _surface(prescription, edit.source)
        radius_mm = None if source.radius_mm is None else _times(source.radius_mm, edit.factor)
        yield FieldChange(pointer=f"{face}/radius_mm", becomes=radius_mm)
        if edit.column == "curve":
            yield from _shape(face, source, _surface(prescription, edit.face), edit.factor)


def _shape(face: str, source: Surface, before: Surface, factor: float) -> Iterator[FieldChange]:
    """Conic and even terms of a curve that is another one, or scaled: the term of order n goes with the power 1 - n."""
    if source.conic != before.conic:
        yield FieldChange(pointer=f"{face}/conic", becomes=source.conic)
    if source.asphere or before.asphere:
        terms = {order: _times(term, factor ** (1 - int(order))) for order, term in source.asphere.items()}
        yield FieldChange(pointer=f"{face}/asphere", becomes=terms)


def _surface(prescription: Prescription, face: int) -> Surface:
    element = prescription.elements[face // 2]
    return element.back if face % 2 else element.front


def _way_mm(prescription: Prescription, face: int) -> float:
    """The way behind a face: thickness of its element, or the gap after it, none where the faces are cemented."""
    if face % 2 == 0:
        return prescription.elements[face // 2].centre_thickness_mm
    return prescription.spaces[face // 2].gap_mm or 0.0


def _times(value: float, factor: float) -> float:
    return float(f"{value * factor:.12g}")
