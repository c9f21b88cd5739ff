"""What is quoted: the lens in section, its elements as on the drawing, and how they stand to each other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from services.quoting.sheet import words
from services.quoting.sheet.parts import Table
from services.quoting.sheet.section_picture import section_svg
from shared_schemas.check import ElementCheck, FirstOrder, SurfaceCheck
from shared_schemas.operations import FREIGHT
from shared_schemas.prescription import Element, IndexGlass, Prescription, Surface
from shared_schemas.quote import QuoteBody

DEFAULT = "*"
"""The mark of a figure that the drawing does not state and that takes a default."""


@dataclass(frozen=True)
class LensOnSheet:
    """What is quoted, as the sheet says it. `picture` is markup; `mark` says what the mark of a default means where there is one."""

    title: str
    picture: str
    first_order: str
    elements: Table
    faces: Table
    mark: str
    remarks: tuple[str, ...]


def lens(body: QuoteBody) -> LensOnSheet:
    """The lens of a quote."""
    drawn = body.prescription
    pairs = list(zip(drawn.elements, body.check.elements, strict=True))
    is_default = any(check.defaulted or check.front.defaulted or check.back.defaulted for check in body.check.elements)
    further = any(_further(face) for element in drawn.elements for face in (element.front, element.back))
    return LensOnSheet(
        title=drawn.title,
        picture=section_svg(prescription=drawn),
        first_order=_first_order(body.check.first_order),
        elements=_elements(pairs),
        faces=_faces(pairs, further=further),
        mark=words.IS_DEFAULT.format(mark=DEFAULT) if is_default else "",
        remarks=tuple(_whole(drawn, body)),
    )


def _elements(pairs: list[tuple[Element, ElementCheck]]) -> Table:
    """Each element: glass, diameter, thickness, centring, and what is asked of the glass itself."""
    asked = any(_of_glass(element) for element, _ in pairs)
    heads = (
        words.ELEMENT,
        words.GLASS,
        words.DIAMETER,
        words.THICKNESS,
        words.CENTRING,
        *((words.GLASS_QUALITY,) if asked else ()),
    )
    rows = tuple(
        (element.name, _glass(element, check), _diameter(element, check), _thickness(element, check), _centring(element, check),
         *((_of_glass(element),) if asked else ()))
        for element, check in pairs
    )  # fmt: skip
    return Table(heads, rows)


def _glass(element: Element, check: ElementCheck) -> str:
    stated = element.glass
    if isinstance(stated, IndexGlass):
        return check.glass or f"nd {stated.nd:.10g}, vd {stated.vd:.10g}"
    return stated if check.glass in (None, stated) else words.STATED_AS.format(glass=check.glass, stated=stated)


def _diameter(element: Element, check: ElementCheck) -> str:
    stated = element.tolerances.diameter_mm
    if stated is None:
        return f"{element.diameter_mm:.10g} ±{check.diameter_tolerance_mm:g}{DEFAULT}"
    upper, lower = stated
    if upper == -lower:
        return f"{element.diameter_mm:.10g} ±{upper:.10g}"
    return f"{element.diameter_mm:.10g} {_signed(upper)}/{_signed(lower)}"


def _thickness(element: Element, check: ElementCheck) -> str:
    stated = element.tolerances.centre_thickness_mm
    tolerance = f"±{check.centre_thickness_tolerance_mm:g}{DEFAULT}" if stated is None else f"±{stated:.10g}"
    return f"{element.centre_thickness_mm:.10g} {tolerance}"


def _centring(element: Element, check: ElementCheck) -> str:
    return element.tolerances.centring or f"4/{check.centring_tolerance_arcmin:g}'{DEFAULT}"


def _of_glass(element: Element) -> str:
    stated = (element.stress_birefringence, element.bubbles, element.inhomogeneity)
    return "; ".join(indication for indication in stated if indication)


def _faces(pairs: list[tuple[Element, ElementCheck]], *, further: bool) -> Table:
    rows = tuple(
        (name, words.FACES[face], _radius(surface), f"{surface.clear_diameter_mm:.10g}", _form(surface, checked), _imperfections(surface, checked),
         str(surface.coating or words.NO_COATING), *((_further(surface),) if further else ()))
        for element, check in pairs
        for name, face, surface, checked in (
            (element.name, "front", element.front, check.front), (element.name, "back", element.back, check.back))
    )  # fmt: skip
    return Table(words.FACE_HEADS if further else words.FACE_HEADS[:-1], rows)


def _radius(surface: Surface) -> str:
    return words.PLANE if surface.radius_mm is None else _signed(surface.radius_mm)


def _form(surface: Surface, check: SurfaceCheck) -> str:
    if surface.form is not None:
        return surface.form
    return f"3/{check.power_fringes:g}({check.irregularity_fringes:g}){DEFAULT}"


def _imperfections(surface: Surface, check: SurfaceCheck) -> str:
    return surface.imperfections or f"5/{check.imperfection_count}x{check.imperfection_grade_mm:g}{DEFAULT}"


def _further(surface: Surface) -> str:
    """Conic and aspheric terms, texture, and what the face must stand of a laser."""
    conic = f"k = {surface.conic:.10g}" if surface.conic else ""
    terms = (f"A{order} = {surface.asphere[order]:.10g}" for order in sorted(surface.asphere, key=int))
    return "; ".join(indication for indication in (conic, *terms, surface.texture, surface.laser_damage) if indication)


def _first_order(paraxial: FirstOrder) -> str:
    known = (
        (words.FOCAL_LENGTH, paraxial.focal_length_mm),
        (words.F_NUMBER, paraxial.f_number),
        (words.BACK_FOCUS, paraxial.back_focus_mm),
        (words.LENGTH, paraxial.length_mm),
    )
    figures = [form.format(figure) for form, figure in known if figure is not None]
    afocal = [words.AFOCAL] if paraxial.focal_length_mm is None else []
    return words.FIRST_ORDER.format(wavelength=paraxial.wavelength_nm, figures=", ".join([*afocal, *figures]))


def _whole(drawn: Prescription, body: QuoteBody) -> Iterator[str]:
    """How the elements stand to each other, what holds them, and what is asked of the whole."""
    between = [
        (words.CEMENTED if space.cemented else words.GAP).format(before=before.name, after=after.name, gap=space.gap_mm)
        for before, space, after in zip(drawn.elements, drawn.spaces, drawn.elements[1:], strict=False)
    ]
    if between:
        yield words.BETWEEN.format(gaps=", ".join(between))
    if drawn.stop is not None:
        behind = drawn.elements[drawn.stop.after_element - 1].name if drawn.stop.after_element else ""
        place = words.BEHIND.format(element=behind) if behind else words.FROM_FIRST
        yield words.STOP.format(diameter=drawn.stop.diameter_mm, distance=drawn.stop.distance_mm, place=place)
    if drawn.barrel is not None and (body.order is None or body.order.delivered == "lenses"):
        barrel = drawn.barrel
        engraved = words.ENGRAVED.format(count=barrel.engraved_characters) if barrel.engraved_characters else ""
        material = barrel.material.replace("_", " ")
        yield words.BARREL.format(material=material, diameter=barrel.outer_diameter_mm, length=barrel.length_mm, engraved=engraved)
    whole = [indication for indication in (drawn.transmitted_wavefront, drawn.assembly_imperfections) if indication]
    if whole:
        yield words.WHOLE_LENS.format(indications="; ".join(whole))
    if drawn.first_article:
        yield words.FIRST_ARTICLE
    carried = [part.name.removeprefix(FREIGHT) for part in body.bought_parts if part.name.startswith(FREIGHT)]
    parts = [part for part in body.bought_parts if not part.name.startswith(FREIGHT)]
    if parts:
        named = (f"{part.count} x {part.name}" if part.count > 1 else part.name for part in parts)
        yield words.DELIVERED_WITH.format(parts="; ".join(named))
    if carried:
        yield words.FREIGHT.format(terms=", ".join(carried))
    if drawn.remarks:
        yield words.DRAWING_REMARKS.format(remarks=drawn.remarks)


def _signed(figure: float) -> str:
    """A figure as it was given, with its sign."""
    return f"{figure or 0.0:+.10g}"
