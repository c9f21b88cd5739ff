"""Do the clear diameters let the beam pass: on the axis, and from the edge of the field?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.prescription.domain.beam import clear_semi_diameters_mm, share_passed
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Prescription

SCREEN_SHARE = 0.01
"""Heights here are paraxial; by so much a clear diameter may fall short before it is told (common practice)."""


def beam_findings(
    *,
    prescription: Prescription,
    marginal_heights_mm: Sequence[float],
    chief_heights_mm: Sequence[float],
    aperture_stated: bool,
) -> Iterator[Finding]:
    """Care for a clear diameter below the axial beam; a note on vignetting, care where nothing of the field passes."""
    semis = clear_semi_diameters_mm(prescription)
    for face, (height, semi) in enumerate(zip(marginal_heights_mm if aperture_stated else (), semis, strict=False)):
        if semi < abs(height) * (1 - SCREEN_SHARE):
            (side, name), wanted = _face(prescription, face), 2 * abs(height)
            yield finding(
                "clear-below-beam", f"/elements/{face // 2}/{side}/clear_diameter_mm",
                f"The clear diameter of {2 * semi:g} mm on the {side} of {name} cuts the axial beam, which is {wanted:.4g} mm wide there.",
                figure=2 * semi, limit=wanted, unit="mm", remedy=f"a clear diameter of at least {wanted:.4g} mm, or a smaller aperture",
            )  # fmt: skip
    if marginal_heights_mm and chief_heights_mm:
        yield from _of_field(prescription, marginal_heights_mm, chief_heights_mm, semis)


def _of_field(
    prescription: Prescription, marginal_mm: Sequence[float], chief_mm: Sequence[float], semis_mm: Sequence[float]
) -> Iterator[Finding]:
    passed, face = share_passed(marginal_heights_mm=marginal_mm, chief_heights_mm=chief_mm, semi_diameters_mm=semis_mm)
    if passed >= 1 - SCREEN_SHARE:
        return
    side, name = _face(prescription, face)
    wanted = 2 * (abs(marginal_mm[face]) + abs(chief_mm[face]))
    code = "field-cut-off" if passed == 0 else "vignetting"
    yield finding(
        code, f"/elements/{face // 2}/{side}/clear_diameter_mm",
        f"At a field of {prescription.field_half_angle_deg:g} deg {100 * passed:.0f} % of the pupil's width pass; the {side} of {name} cuts the most.",
        figure=passed, limit=1.0, unit="mm/mm", remedy=f"a clear diameter of {wanted:.4g} mm there, or accept the darker edge of the field",
    )  # fmt: skip


def _face(prescription: Prescription, face: int) -> tuple[str, str]:
    return ("back" if face % 2 else "front"), prescription.elements[face // 2].name
