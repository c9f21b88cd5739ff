"""What is quoted: the lens in section, its elements as on the drawing, and how they stand to each other."""

from __future__ import annotations

from collections.abc import Iterator

from services.quoting.sheet.parts import paragraph, section, table
from services.quoting.sheet.section_picture import section_svg
from shared_schemas.check import ElementCheck, FirstOrder, SurfaceCheck
from shared_schemas.prescription import Element, IndexGlass, Prescription, Surface
from shared_schemas.quote import QuoteBody

DEFAULT = "*"
"""The mark of a figure that the drawing does not state and that takes a default."""
LEGEND = (
    "Radii are positive where the centre of curvature lies behind the face; light comes from the left. "
    "Form, imperfections and centring as indicated on the drawing (ISO 10110)."
)
FACE_HEADS = ("Element", "Face", ">Radius, mm", ">Clear ⌀, mm", "Form 3/", "Imperfections 5/", "Coating", "Further")


def lens(body: QuoteBody) -> str:
    """The section of the page that says what is quoted."""
    drawn = body.prescription
    pairs = list(zip(drawn.elements, body.check.elements, strict=True))
    is_default = any(one.defaulted or one.front.defaulted or one.back.defaulted for one in body.check.elements)
    further = any(_further(face) for element in drawn.elements for face in (element.front, element.back))
    return section(
        "The lens",
        paragraph(drawn.title, kind="title"),
        f'<figure aria-label="Section of the lens, to scale">\n{section_svg(prescription=drawn)}</figure>',
        paragraph(_first_order(body.check.first_order)),
        _elements(pairs),
        _faces(pairs, further=further),
        paragraph(f"{DEFAULT} not stated: default of ISO 10110-11." if is_default else "", kind="small"),
        paragraph(LEGEND, kind="small"),
        *(paragraph(line) for line in _whole(drawn, body)),
    )


def _elements(pairs: list[tuple[Element, ElementCheck]]) -> str:
    """Each element: glass, diameter, thickness, centring, and what is asked of the glass itself."""
    asked = any(_of_glass(element) for element, _ in pairs)
    heads = ("Element", "Glass", ">Diameter, mm", ">Centre thickness, mm", "Centring 4/", *(("Glass quality",) if asked else ()))
    rows = [
        (element.name, _glass(element, found), _diameter(element, found), _thickness(element, found), _centring(element, found),
         *((_of_glass(element),) if asked else ()))
        for element, found in pairs
    ]  # fmt: skip
    return table(heads, rows)


def _glass(element: Element, found: ElementCheck) -> str:
    stated = element.glass
    if isinstance(stated, IndexGlass):
        return found.glass or f"nd {stated.nd:.10g}, vd {stated.vd:.10g}"
    return stated if found.glass in (None, stated) else f"{found.glass} (stated as {stated})"


def _diameter(element: Element, found: ElementCheck) -> str:
    stated = element.tolerances.diameter_mm
    if stated is None:
        return f"{element.diameter_mm:.10g} ±{found.diameter_tolerance_mm:g}{DEFAULT}"
    upper, lower = stated
    if upper == -lower:
        return f"{element.diameter_mm:.10g} ±{upper:.10g}"
    return f"{element.diameter_mm:.10g} {_signed(upper)}/{_signed(lower)}"


def _thickness(element: Element, found: ElementCheck) -> str:
    stated = element.tolerances.centre_thickness_mm
    tolerance = f"±{found.centre_thickness_tolerance_mm:g}{DEFAULT}" if stated is None else f"±{stated:.10g}"
    return f"{element.centre_thickness_mm:.10g} {tolerance}"


def _centring(element: Element, found: ElementCheck) -> str:
    return element.tolerances.centring or f"4/{found.centring_tolerance_arcmin:g}'{DEFAULT}"


def _of_glass(element: Element) -> str:
    stated = (element.stress_birefringence, element.bubbles, element.inhomogeneity)
    return "; ".join(indication for indication in stated if indication)


def _faces(pairs: list[tuple[Element, ElementCheck]], *, further: bool) -> str:
    rows = [
        (name, face, _radius(surface), f"{surface.clear_diameter_mm:.10g}", _form(surface, found), _imperfections(surface, found),
         str(surface.coating or "none"), *((_further(surface),) if further else ()))
        for element, check in pairs
        for name, face, surface, found in (
            (element.name, "front", element.front, check.front), (element.name, "back", element.back, check.back))
    ]  # fmt: skip
    return table(FACE_HEADS if further else FACE_HEADS[:-1], rows)


def _radius(surface: Surface) -> str:
    return "plane" if surface.radius_mm is None else _signed(surface.radius_mm)


def _form(surface: Surface, found: SurfaceCheck) -> str:
    if surface.form is not None:
        return surface.form
    return f"3/{found.power_fringes:g}({found.irregularity_fringes:g}){DEFAULT}"


def _imperfections(surface: Surface, found: SurfaceCheck) -> str:
    return surface.imperfections or f"5/{found.imperfection_count}x{found.imperfection_grade_mm:g}{DEFAULT}"


def _further(surface: Surface) -> str:
    """Conic and aspheric terms, texture, and what the face must stand of a laser."""
    conic = f"k = {surface.conic:.10g}" if surface.conic else ""
    terms = (f"A{order} = {surface.asphere[order]:.10g}" for order in sorted(surface.asphere, key=int))
    return "; ".join(one for one in (conic, *terms, surface.texture, surface.laser_damage) if one)


def _first_order(found: FirstOrder) -> str:
    known = (
        ("focal length {:.2f} mm", found.focal_length_mm),
        ("f/{:.2f}", found.f_number),
        ("back focus {:.2f} mm", found.back_focus_mm),
        ("length from first to last vertex {:.2f} mm", found.length_mm),
    )
    said = ", ".join(form.format(figure) for form, figure in known if figure is not None)
    afocal = "afocal, " if found.focal_length_mm is None else ""
    return f"At {found.wavelength_nm:.10g} nm: {afocal}{said}."


def _whole(drawn: Prescription, body: QuoteBody) -> Iterator[str]:
    """How the elements stand to each other, what holds them, and what is asked of the whole."""
    between = [
        f"{before.name} to {after.name} {'cemented' if space.cemented else f'{space.gap_mm:.10g} mm'}"
        for before, space, after in zip(drawn.elements, drawn.spaces, drawn.elements[1:], strict=False)
    ]
    yield f"Between elements, on the axis: {', '.join(between)}." if between else ""
    if drawn.stop is not None:
        behind = drawn.elements[drawn.stop.after_element - 1].name if drawn.stop.after_element else ""
        place = f"behind the last vertex of {behind}" if behind else "from the first vertex"
        yield f"Stop: ⌀ {drawn.stop.diameter_mm:.10g} mm, {drawn.stop.distance_mm:.10g} mm {place}."
    if drawn.barrel is not None:
        barrel = drawn.barrel
        engraved = f", {barrel.engraved_characters} characters engraved" if barrel.engraved_characters else ""
        material = barrel.material.replace("_", " ")
        yield f"Mounted in a barrel of {material}, ⌀ {barrel.outer_diameter_mm:.10g} x {barrel.length_mm:.10g} mm{engraved}."
    whole = [one for one in (drawn.transmitted_wavefront, drawn.assembly_imperfections) if one]
    yield f"Of the whole lens: {'; '.join(whole)}." if whole else ""
    parts = [f"{part.count} x {part.name}" if part.count > 1 else part.name for part in body.bought_parts]
    yield f"Delivered with each lens: {'; '.join(parts)}." if parts else ""
    yield f"Remarks on the drawing: {drawn.remarks}" if drawn.remarks else ""


def _signed(figure: float) -> str:
    """A figure as it was given, with its sign."""
    return f"{figure or 0.0:+.10g}"
