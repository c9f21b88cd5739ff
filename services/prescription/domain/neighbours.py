"""What two neighbours do to each other: touch, fit for cement, strain it."""

from __future__ import annotations

import math

from services.prescription.domain.findings import finding
from services.prescription.domain.indications import FRINGE_NM
from services.prescription.domain.materials import Material
from services.prescription.domain.sag import profile_of
from shared_schemas.check import Finding
from shared_schemas.prescription import Element, Prescription

USUAL_MATCH_FRINGES = 5.0
THICKEST_FILM_MM = 0.03
FILM_UM, COOLING_K = 10.0, 80.0
STRAINED_1E6_PER_K = 4.0


def neighbour_findings(prescription: Prescription, materials: tuple[Material, ...]) -> list[Finding]:
    """Findings on every space between neighbours."""
    found: list[Finding] = []
    for number, space in enumerate(prescription.spaces):
        before, after = prescription.elements[number], prescription.elements[number + 1]
        where = f"/spaces/{number}"
        if space.cemented:
            found += _cement(before, after, where)
            found += _strain(materials[number], materials[number + 1], min(before.diameter_mm, after.diameter_mm), where)
        else:
            found += _collision(before, after, space.gap_mm or 0.0, where)
    return found


def gap_at_mm(before: Element, after: Element, *, axial_gap_mm: float, height_mm: float) -> float:
    """Air between two neighbours at a height: axial gap - z of the first + z of the second [mm]."""
    back = profile_of(before.back, rim_mm=before.diameter_mm / 2)
    front = profile_of(after.front, rim_mm=after.diameter_mm / 2)
    return axial_gap_mm - back.sag_mm(height_mm) + front.sag_mm(height_mm)


def _collision(before: Element, after: Element, gap_mm: float, where: str) -> list[Finding]:
    rim = min(before.diameter_mm, after.diameter_mm) / 2
    heights = [rim * step / 16 for step in range(17)]
    least, at = min((gap_at_mm(before, after, axial_gap_mm=gap_mm, height_mm=height), height) for height in heights)
    if least >= -1e-9:
        return []
    return [
        finding("collision", where, f"{before.name} and {after.name} cross by {-least:.3f} mm at {at:.2f} mm from the axis.",
                figure=least, limit=0.0, unit="mm", repair=f"a gap of at least {gap_mm - least:.3f} mm on the axis")
    ]  # fmt: skip


def _cement(before: Element, after: Element, where: str) -> list[Finding]:
    found = []
    for face, element, surface in (("back", before, before.back), ("front", after, after.front)):
        if surface.coating is not None:
            found.append(finding("coated_cement", where, f"The {face} of {element.name} is cemented and asks for the coating {surface.coating}.",
                                 figure=surface.coating, repair="leave the coating out on cemented faces"))  # fmt: skip
    height = min(before.back.clear_diameter_mm, after.front.clear_diameter_mm) / 2
    difference = abs(profile_of(before.back, rim_mm=height).sag_mm(height) - profile_of(after.front, rim_mm=height).sag_mm(height))
    fringes = difference * 1e6 / FRINGE_NM
    if difference > THICKEST_FILM_MM:
        found.append(finding("cement_gap", where, f"The cemented faces of {before.name} and {after.name} are {difference:.3f} mm apart at the rim.",
                             figure=difference, limit=THICKEST_FILM_MM, unit="mm", repair="equal radii on both cemented faces"))  # fmt: skip
    elif fringes > USUAL_MATCH_FRINGES:
        found.append(finding("cement_mismatch", where, f"The cemented faces of {before.name} and {after.name} differ by {fringes:.0f} fringes.",
                             figure=fringes, limit=USUAL_MATCH_FRINGES, unit="fringes", repair="equal radii on both cemented faces"))  # fmt: skip
    return found


def film_strain(
    *, expansion_difference_1e6_per_k: float, diameter_mm: float, film_um: float = FILM_UM, cooling_k: float = COOLING_K
) -> float:
    """Shear strain of a film of cement between two glasses: d_alpha d_T (D/2) / t. Derived; a screen, not a stress."""
    return expansion_difference_1e6_per_k * 1e-6 * cooling_k * diameter_mm / 2 / (film_um / 1000)


def _strain(first: Material, second: Material, diameter_mm: float, where: str) -> list[Finding]:
    if first.row is None or second.row is None or first.row.cte_30_70_1e6_per_k is None or second.row.cte_30_70_1e6_per_k is None:
        return []
    difference = math.fabs(first.row.cte_30_70_1e6_per_k - second.row.cte_30_70_1e6_per_k)
    if difference <= STRAINED_1E6_PER_K:
        return []
    strain = film_strain(expansion_difference_1e6_per_k=difference, diameter_mm=diameter_mm)
    message = f"{first.row.name} and {second.row.name} differ by {difference:.1f}e-6/K in expansion: a 10 um film is sheared by {strain:.2f} on cooling 80 K."
    return [
        finding(
            "cement_strain",
            where,
            message,
            figure=difference,
            limit=STRAINED_1E6_PER_K,
            unit="1e-6/K",
            repair="a compliant cement, or an air space",
        )
    ]
