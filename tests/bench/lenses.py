"""Lenses to measure with: as long as one likes, and focusing well enough that every check is made."""

from __future__ import annotations

from shared_schemas.prescription import Element, IndexGlass, Prescription, Space, Stop, Surface, Tolerances


def chain_of_lenses(elements: int) -> Prescription:
    """A lens of so many weak elements, alternately crown and flint, spaced by air; toleranced on every face."""
    faces = {"form": "3/3(0.5)", "imperfections": "5/3x0.16", "coating": "ar-single"}
    made = []
    for number in range(elements):
        radius = 400.0 + 7 * number
        crown = number % 2 == 0
        made.append(
            Element(
                name=f"L{number + 1}",
                glass="N-BK7" if crown else "N-SF2",
                diameter_mm=30.0,
                centre_thickness_mm=5.0,
                front=Surface(radius_mm=radius if crown else -radius, clear_diameter_mm=26.0, **faces),
                back=Surface(radius_mm=-radius if crown else radius, clear_diameter_mm=26.0, **faces),
                tolerances=Tolerances(diameter_mm=(0.0, -0.02), centre_thickness_mm=0.05, centring="4/2'"),
            )
        )
    return Prescription(
        title=f"A chain of {elements} elements",
        elements=tuple(made),
        spaces=tuple(Space(gap_mm=2.5) for _ in range(elements - 1)),
        entrance_pupil_diameter_mm=14.0,
        field_half_angle_deg=2.0,
    )


TRIPLET_INDICES = (1.61272, 1.64769, 1.61272)


def triplet_with_a_slip() -> Prescription:
    """A triplet (Smith, Modern Optical Engineering, 4th ed., p. 118-119) whose first radius has the wrong sign."""
    rows = (
        (-37.40, -341.48, 5.90, 29.4, 60.0),
        (-42.65, 36.40, 2.50, 21.6, 33.8),
        (204.52, -37.05, 5.90, 23.2, 60.0),
    )
    elements = tuple(
        Element(
            name=f"L{place}",
            glass=IndexGlass(nd=index, vd=abbe),
            diameter_mm=clear + 1,
            centre_thickness_mm=thickness,
            front=Surface(radius_mm=front, clear_diameter_mm=clear),
            back=Surface(radius_mm=back, clear_diameter_mm=clear),
        )
        for place, ((front, back, thickness, clear, abbe), index) in enumerate(zip(rows, TRIPLET_INDICES, strict=True), start=1)
    )
    stop = Stop(after_element=2, distance_mm=2.0, diameter_mm=20.6)
    return Prescription(title="triplet", elements=elements, spaces=(Space(gap_mm=12.93), Space(gap_mm=11.85)), stop=stop)
