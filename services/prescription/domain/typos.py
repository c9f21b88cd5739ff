"""Typing errors: every single change of a prescription that takes one back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from shared_schemas.prescription import Element, Prescription

Kind = Literal["radius sign", "decimal", "rows swapped", "inches"]

KINDS: tuple[Kind, ...] = ("radius sign", "decimal", "rows swapped", "inches")
"""Nearest first: of changes that repair a lens equally well the one that stands first here is offered."""

Column = Literal["radius", "curve", "way", "glass"]
"""What a slip is in: a radius alone; a radius with conic and even terms; the way to the next face; the index behind a face."""

MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Edit:
    """The value of a face, times a factor, taken from a face that may be another one; faces count from 0, two an element."""

    column: Column
    face: int
    source: int
    factor: float = 1.0


@dataclass(frozen=True)
class Change:
    """One change to a prescription: at a JSON pointer, from what to what, in words that follow 'with'."""

    kind: Kind
    pointer: str
    was: float | str
    becomes: float | str
    words: str
    edits: tuple[Edit, ...]


def single_changes(prescription: Prescription) -> tuple[Change, ...]:
    """Every single change by which a slip of a typist is taken back; a curve that cement shares is one row."""
    return (
        *_signs(prescription),
        *_decimals(prescription),
        *_swapped_curves(prescription),
        *_swapped_ways(prescription),
        *_swapped_elements(prescription),
        *_inches(prescription),
    )


@dataclass(frozen=True)
class _Curve:
    """A radius as a typist has it in one row: one face, or the two that cement joins at the same radius."""

    name: str
    pointer: str
    radius_mm: float | None
    faces: tuple[int, ...]


@dataclass(frozen=True)
class _Way:
    """A thickness or a gap [mm]: what it is called, where it stands, the face before it."""

    name: str
    pointer: str
    length_mm: float
    face: int


def _curves(prescription: Prescription) -> tuple[_Curve, ...]:
    rows: list[_Curve] = []
    for i, element in enumerate(prescription.elements):
        shared = i > 0 and prescription.spaces[i - 1].cemented and element.front.radius_mm == rows[-1].radius_mm
        if shared:
            last = rows.pop()
            name = f"the cemented face of {prescription.elements[i - 1].name} and {element.name}"
            rows.append(_Curve(name, last.pointer, last.radius_mm, (*last.faces, 2 * i)))
        else:
            rows.append(_Curve(f"the front of {element.name}", f"/elements/{i}/front", element.front.radius_mm, (2 * i,)))
        rows.append(_Curve(f"the back of {element.name}", f"/elements/{i}/back", element.back.radius_mm, (2 * i + 1,)))
    return tuple(rows)


def _ways(prescription: Prescription) -> tuple[_Way, ...]:
    rows: list[_Way] = []
    for i, element in enumerate(prescription.elements):
        pointer = f"/elements/{i}/centre_thickness_mm"
        rows.append(_Way(f"the thickness of {element.name}", pointer, element.centre_thickness_mm, 2 * i))
        gap_mm = prescription.spaces[i].gap_mm if i < len(prescription.spaces) else None
        if gap_mm is not None:
            rows.append(_Way(f"the gap behind {element.name}", f"/spaces/{i}/gap_mm", gap_mm, 2 * i + 1))
    return tuple(rows)


def _signs(prescription: Prescription) -> Iterator[Change]:
    for row in _curves(prescription):
        if row.radius_mm is not None:
            words = f"the radius of {row.name} at {signed(-row.radius_mm)} mm instead of {signed(row.radius_mm)} mm"
            edits = tuple(Edit("radius", face, face, -1.0) for face in row.faces)
            yield Change("radius sign", f"{row.pointer}/radius_mm", row.radius_mm, -row.radius_mm, words, edits)


def _decimals(prescription: Prescription) -> Iterator[Change]:
    for row in _curves(prescription):
        for factor in (10.0, 0.1):
            if row.radius_mm is not None:
                becomes = _shifted(row.radius_mm, factor)
                words = f"the radius of {row.name} at {signed(becomes)} mm instead of {signed(row.radius_mm)} mm"
                edits = tuple(Edit("radius", face, face, factor) for face in row.faces)
                yield Change("decimal", f"{row.pointer}/radius_mm", row.radius_mm, becomes, words, edits)
    for way in _ways(prescription):
        for factor in (10.0, 0.1):
            if way.length_mm > 0:
                becomes = _shifted(way.length_mm, factor)
                words = f"{way.name} at {becomes:g} mm instead of {way.length_mm:g} mm"
                yield Change("decimal", way.pointer, way.length_mm, becomes, words, (Edit("way", way.face, way.face, factor),))


def _swapped_curves(prescription: Prescription) -> Iterator[Change]:
    rows = _curves(prescription)
    for one, other in pairwise(rows):
        if one.radius_mm == other.radius_mm:
            continue
        edits = (
            *(Edit("curve", face, other.faces[0]) for face in one.faces),
            *(Edit("curve", face, one.faces[-1]) for face in other.faces),
        )
        was, becomes = (f"{signed(a.radius_mm)}, {signed(b.radius_mm)}" for a, b in ((one, other), (other, one)))
        words = f"the radii of {one.name} and {other.name} swapped"
        yield Change("rows swapped", f"{one.pointer}/radius_mm", was, becomes, words, edits)


def _swapped_ways(prescription: Prescription) -> Iterator[Change]:
    rows = _ways(prescription)
    for one, other in pairwise(rows):
        if one.length_mm == other.length_mm:
            continue
        edits = (Edit("way", one.face, other.face), Edit("way", other.face, one.face))
        was, becomes = f"{one.length_mm:g}, {other.length_mm:g}", f"{other.length_mm:g}, {one.length_mm:g}"
        yield Change("rows swapped", one.pointer, was, becomes, f"{one.name} and {other.name} swapped", edits)


def _swapped_elements(prescription: Prescription) -> Iterator[Change]:
    """Neighbours whose glasses, or that as a whole, stand in each other's place."""
    for i, (one, other) in enumerate(zip(prescription.elements, prescription.elements[1:], strict=False)):
        here, there = 2 * i, 2 * i + 2
        if one.glass != other.glass:
            edits: tuple[Edit, ...] = (Edit("glass", here, there), Edit("glass", there, here))
            was, becomes = f"{_glass(one)}, {_glass(other)}", f"{_glass(other)}, {_glass(one)}"
            words = f"the glasses of {one.name} and {other.name} swapped"
            yield Change("rows swapped", f"/elements/{i}/glass", was, becomes, words, edits)
        edits = tuple(
            edit
            for a, b in ((here, there), (there, here))
            for edit in (Edit("curve", a, b), Edit("curve", a + 1, b + 1), Edit("way", a, b), Edit("glass", a, b))
        )
        was, becomes = f"{one.name}, {other.name}", f"{other.name}, {one.name}"
        yield Change("rows swapped", f"/elements/{i}", was, becomes, f"{one.name} and {other.name} in each other's place", edits)


def _inches(prescription: Prescription) -> Iterator[Change]:
    """A whole column in inches that was taken for mm, or one in mm that was converted as if it were in inches."""
    faces = range(2 * len(prescription.elements))
    radii = tuple((face, "curve") for face in faces)
    ways = tuple((way.face, "way") for way in _ways(prescription))
    for factor, was, becomes in ((MM_PER_INCH, "mm", "inch"), (1 / MM_PER_INCH, "inch, converted", "mm")):
        for name, cells in (
            ("the radii", radii),
            ("the thicknesses and gaps", ways),
            ("radii, thicknesses and gaps", radii + ways),
        ):
            words = f"{name} read as inches" if factor > 1 else f"{name} read as mm that had been converted from inches by mistake"
            edits = tuple(Edit("curve" if column == "curve" else "way", face, face, factor) for face, column in cells)
            yield Change("inches", "/elements", was, becomes, words, edits)


def signed(radius_mm: float | None) -> str:
    """A radius [mm] with its sign, as it is written in a table; `plano` for none."""
    return "plano" if radius_mm is None else f"{radius_mm:+.10g}"


def _shifted(value: float, factor: float) -> float:
    """A value with its point shifted by a place, in the digits that it was written with."""
    return float(f"{value * factor:.12g}")


def _glass(element: Element) -> str:
    return element.glass if isinstance(element.glass, str) else f"n_d {element.glass.nd:g}, v_d {element.glass.vd:g}"
