"""What is quoted: the lens in section, its elements as on the drawing, and how they stand to each other."""

from __future__ import annotations

from collections.abc import Iterator

from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Paragraph, Picture, Section, Table, section
from services.quoting.sheet.section_picture import section_svg
from shared_schemas.check import ElementCheck, FirstOrder, SurfaceCheck
from shared_schemas.operations import FREIGHT
from shared_schemas.prescription import Element, IndexGlass, Prescription, Surface
from shared_schemas.quote import QuoteBody

DEFAULT = "*"
"""The mark of a figure that the drawing does not state and that takes a default."""

Pairs = list[tuple[Element, ElementCheck]]


def lens(body: QuoteBody, said: Language) -> Section | None:
    """What is quoted, under its heading."""
    words, drawn = said.words, body.prescription
    pairs = list(zip(drawn.elements, body.check.elements, strict=True))
    is_default = any(check.defaulted or check.front.defaulted or check.back.defaulted for check in body.check.elements)
    names = ", ".join(element.name for element in drawn.elements)
    return section(
        words.LENS,
        Paragraph(_first_order(body.check.first_order, said)),
        Picture(
            section_svg(prescription=drawn, indices=[check.refractive_index for check in body.check.elements], said=said),
            words.SECTION_OF_LENS.format(title=drawn.title, elements=names),
        ),
        _elements(pairs, said),
        _faces(pairs, said),
        Paragraph(words.IS_DEFAULT.format(mark=DEFAULT) if is_default else "", small=True),
        Paragraph(words.LEGEND, small=True),
        *(Paragraph(line) for line in _whole(drawn, body, said)),
    )


def _elements(pairs: Pairs, said: Language) -> Table:
    """Each element: glass, diameter, thickness, centring, and what is asked of the glass itself."""
    words, asked = said.words, any(_of_glass(element) for element, _ in pairs)
    usual = (words.ELEMENT, words.GLASS, words.DIAMETER, words.THICKNESS, words.CENTRING)
    return Table(
        (*usual, words.GLASS_QUALITY) if asked else usual,
        tuple(
            (element.name, _glass(element, check, said), _diameter(element, check, said), _thickness(element, check, said), _centring(element, check, said),
             *((_of_glass(element),) if asked else ()))
            for element, check in pairs
        ),
    )  # fmt: skip


def _glass(element: Element, check: ElementCheck, said: Language) -> str:
    stated = element.glass
    if isinstance(stated, IndexGlass):
        return check.glass or f"nd {said.figure(stated.nd)}, vd {said.figure(stated.vd)}"
    return stated if check.glass in (None, stated) else str(said.words.STATED_AS.format(glass=check.glass, stated=stated))


def _diameter(element: Element, check: ElementCheck, said: Language) -> str:
    stated, diameter = element.tolerances.diameter_mm, said.figure(element.diameter_mm)
    if stated is None:
        return f"{diameter} ±{said.figure(check.diameter_tolerance_mm, form='g')}{DEFAULT}"
    upper, lower = stated
    if upper == -lower:
        return f"{diameter} ±{said.figure(upper)}"
    return f"{diameter} {said.figure(upper, sign=True)}/{said.figure(lower, sign=True)}"


def _thickness(element: Element, check: ElementCheck, said: Language) -> str:
    stated = element.tolerances.centre_thickness_mm
    by_default = f"{said.figure(check.centre_thickness_tolerance_mm, form='g')}{DEFAULT}"
    return f"{said.figure(element.centre_thickness_mm)} ±{by_default if stated is None else said.figure(stated)}"


def _centring(element: Element, check: ElementCheck, said: Language) -> str:
    return element.tolerances.centring or f"4/{said.figure(check.centring_tolerance_arcmin, form='g')}'{DEFAULT}"


def _of_glass(element: Element) -> str:
    stated = (element.stress_birefringence, element.bubbles, element.inhomogeneity)
    return "; ".join(indication for indication in stated if indication)


def _faces(pairs: Pairs, said: Language) -> Table:
    """Each face; without the last column where no face has anything to say there."""
    words = said.words
    further = any(_further(face, said) for element, _ in pairs for face in (element.front, element.back))
    rows = tuple(
        (name, words.FACES[face], _radius(surface, said), said.figure(surface.clear_diameter_mm), _form(surface, checked), _imperfections(surface, checked),
         str(surface.coating or words.NO_COATING), *((_further(surface, said),) if further else ()))
        for element, check in pairs
        for name, face, surface, checked in (
            (element.name, "front", element.front, check.front), (element.name, "back", element.back, check.back))
    )  # fmt: skip
    return Table(words.FACE_HEADS if further else words.FACE_HEADS[:-1], rows)


def _radius(surface: Surface, said: Language) -> str:
    return str(said.words.PLANE) if surface.radius_mm is None else said.figure(surface.radius_mm, sign=True)


def _form(surface: Surface, check: SurfaceCheck) -> str:
    if surface.form is not None:
        return surface.form
    return f"3/{check.power_fringes:g}({check.irregularity_fringes:g}){DEFAULT}"


def _imperfections(surface: Surface, check: SurfaceCheck) -> str:
    return surface.imperfections or f"5/{check.imperfection_count}x{check.imperfection_grade_mm:g}{DEFAULT}"


def _further(surface: Surface, said: Language) -> str:
    """Conic and aspheric terms, texture, and what the face must stand of a laser."""
    conic = f"k = {said.figure(surface.conic)}" if surface.conic else ""
    terms = (f"A{order} = {said.figure(surface.asphere[order])}" for order in sorted(surface.asphere, key=int))
    return "; ".join(indication for indication in (conic, *terms, surface.texture, surface.laser_damage) if indication)


def _first_order(paraxial: FirstOrder, said: Language) -> str:
    words = said.words
    known = (
        (words.FOCAL_LENGTH, paraxial.focal_length_mm),
        (words.F_NUMBER, paraxial.f_number),
        (words.BACK_FOCUS, paraxial.back_focus_mm),
        (words.LENGTH, paraxial.length_mm),
    )
    figures = [form.format(figure=said.figure(figure, form=".2f")) for form, figure in known if figure is not None]
    afocal = [words.AFOCAL] if paraxial.focal_length_mm is None else []
    return str(words.FIRST_ORDER.format(wavelength=said.figure(paraxial.wavelength_nm), figures="; ".join([*afocal, *figures])))


def _whole(drawn: Prescription, body: QuoteBody, said: Language) -> Iterator[str]:
    """How the elements stand to each other, what holds them, and what is asked of the whole."""
    words = said.words
    between = [
        (words.CEMENTED if space.cemented else words.GAP).format(
            before=before.name, after=after.name, gap=said.figure(space.gap_mm or 0.0)
        )
        for before, space, after in zip(drawn.elements, drawn.spaces, drawn.elements[1:], strict=False)
    ]
    if between:
        yield words.BETWEEN.format(gaps="; ".join(between))
    if drawn.stop is not None:
        behind = drawn.elements[drawn.stop.after_element - 1].name if drawn.stop.after_element else ""
        place = words.BEHIND.format(element=behind) if behind else words.FROM_FIRST
        yield words.STOP.format(
            diameter=said.figure(drawn.stop.diameter_mm), distance=said.figure(drawn.stop.distance_mm), place=place
        )
    if drawn.barrel is not None and (body.order is None or body.order.delivered == "lenses"):
        barrel = drawn.barrel
        engraved = words.ENGRAVED.format(count=barrel.engraved_characters) if barrel.engraved_characters else ""
        yield words.BARREL.format(
            material=words.METALS[barrel.material], diameter=said.figure(barrel.outer_diameter_mm), length=said.figure(barrel.length_mm), engraved=engraved
        )  # fmt: skip
    whole = [indication for indication in (drawn.transmitted_wavefront, drawn.assembly_imperfections) if indication]
    if whole:
        yield words.WHOLE_LENS.format(indications="; ".join(whole))
    if drawn.first_article:
        yield words.FIRST_ARTICLE
    yield from _delivered(body, said)
    if drawn.remarks:
        yield words.DRAWING_REMARKS.format(remarks=drawn.remarks)


def _delivered(body: QuoteBody, said: Language) -> Iterator[str]:
    """Parts that come with each lens, and carriage where it is in the price."""
    carried = [part.name.removeprefix(FREIGHT) for part in body.bought_parts if part.name.startswith(FREIGHT)]
    parts = [part for part in body.bought_parts if not part.name.startswith(FREIGHT)]
    if parts:
        named = (f"{part.count} × {said.thing(part.name)}" if part.count > 1 else said.thing(part.name) for part in parts)
        yield said.words.DELIVERED_WITH.format(parts="; ".join(named))
    if carried:
        yield said.words.FREIGHT.format(terms=", ".join(carried))
