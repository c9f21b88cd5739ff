"""Between two elements: do they run into each other, and do cemented faces fit?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.prescription.domain.findings import found
from services.prescription.domain.fringes import fringes_of_sag
from services.prescription.domain.profile import Body
from shared_schemas.check import Finding
from shared_schemas.prescription import Prescription

INTO_EACH_OTHER_MM = 1e-6
SAMPLES = 8

EVEN_FILM_FRINGES = 0.5
MOST_FRINGES = 10.0
"""Fringe spacings at the rim of a cemented pair: told apart from rounding, and no longer cemented (from memory)."""


def gap_mm(*, before: Body, behind: Body, axial_mm: float, height_mm: float) -> float:
    """Air [mm] between two neighbours at a height [mm], parallel to the axis; negative where they run into each other.

    Notes: g - z_back + z_front of the next.
    Source: derived.
    """
    return axial_mm - before.back.sag_mm(height_mm) + behind.front.sag_mm(height_mm)


def least_gap(*, before: Body, behind: Body, axial_mm: float) -> tuple[float, float]:
    """The least air [mm] between two neighbours and the height [mm] where it is, among rim, clear diameters and points between."""
    rim = min(before.rim_mm, behind.rim_mm)
    knees = (before.back.curved_to_mm, behind.front.curved_to_mm, *(rim * i / SAMPLES for i in range(1, SAMPLES)))
    heights = [rim, *(height for height in knees if height < rim)]
    return min((gap_mm(before=before, behind=behind, axial_mm=axial_mm, height_mm=height), height) for height in heights)


def neighbour_findings(*, prescription: Prescription, bodies: Sequence[Body]) -> Iterator[Finding]:
    """A stop for neighbours that collide; care or a stop for cemented faces that differ."""
    for i, space in enumerate(prescription.spaces):
        if space.gap_mm is not None:
            yield from _collision(prescription, bodies, i, space.gap_mm)
        else:
            yield from _cemented(prescription, bodies, i)


def _collision(prescription: Prescription, bodies: Sequence[Body], i: int, axial_mm: float) -> Iterator[Finding]:
    least, height = least_gap(before=bodies[i], behind=bodies[i + 1], axial_mm=axial_mm)
    if least >= -INTO_EACH_OTHER_MM:
        return
    first, second = prescription.elements[i], prescription.elements[i + 1]
    wanted = -(-(axial_mm - least) * 100 // 1) / 100
    yield found(
        "neighbours-collide", f"/spaces/{i}/gap_mm",
        f"{first.name} and {second.name} run {-least:.3f} mm into each other at a height of {height:.4g} mm.",
        figure=least, limit=0.0, unit="mm", repair=f"a gap of at least {wanted:g} mm, or smaller diameters",
    )  # fmt: skip


def _cemented(prescription: Prescription, bodies: Sequence[Body], i: int) -> Iterator[Finding]:
    first, second = prescription.elements[i], prescription.elements[i + 1]
    height = min(max(first.back.clear_diameter_mm, second.front.clear_diameter_mm) / 2, bodies[i].rim_mm, bodies[i + 1].rim_mm)
    apart = bodies[i].back.sag_mm(height) - bodies[i + 1].front.sag_mm(height)
    fringes = fringes_of_sag(sag_error_mm=apart)
    if fringes <= EVEN_FILM_FRINGES:
        return
    one, other = ("plano" if radius is None else f"{radius:g} mm" for radius in (first.back.radius_mm, second.front.radius_mm))
    touch = "at the rim" if apart > 0 else "at the centre"
    code, limit = ("cement-radii-far", MOST_FRINGES) if fringes > MOST_FRINGES else ("cement-radii-differ", EVEN_FILM_FRINGES)
    yield found(
        code, f"/elements/{i + 1}/front/radius_mm",
        f"The cemented faces of {first.name} ({one}) and {second.name} ({other}) differ by {fringes:.4g} fringe spacings at {height:g} mm; they touch {touch}.",
        figure=fringes, limit=limit, unit="fringe spacings", repair=f"the same radius on both, {one} or {other}",
    )  # fmt: skip
