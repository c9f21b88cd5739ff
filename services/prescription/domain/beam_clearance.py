"""Do the clear diameters let the beam pass: on the axis, and from the edge of the field?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.prescription.domain.beam import clear_semi_diameters_mm, share_passed
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Prescription

SCREEN_SHARE = 0.01
"""Heights here are paraxial; by so much a clear diameter may fall short before it is told (common practice)."""

FIRST_ORDER_UP_TO_DEG = 30.0
"""Half field up to which paraxial heights tell what a clear diameter cuts. At 30 deg the tangent that they grow by is 1.15 times the
sine, at 50 deg 1.56 times, and the pupil of a wide-angle lens turns towards the field; beyond it nothing is said. Common practice."""


def beam_findings(
    *,
    prescription: Prescription,
    marginal_heights_mm: Sequence[float],
    chief_heights_mm: Sequence[float],
    aperture_stated: bool,
) -> Iterator[Finding]:
    """Care for a clear diameter below the axial beam; a note on vignetting, care where nothing of the field passes.

    Of a field beyond first order only that is told.
    """
    semis = clear_semi_diameters_mm(prescription)
    for face, (height, semi) in enumerate(zip(marginal_heights_mm if aperture_stated else (), semis, strict=False)):
        if semi < abs(height) * (1 - SCREEN_SHARE):
            (side, name), wanted = _face(prescription, face), 2 * abs(height)
            yield finding(
                "clear-below-beam", f"/elements/{face // 2}/{side}/clear_diameter_mm",
                f"The clear diameter of {2 * semi:g} mm on the {side} of {name} cuts the axial beam, which is {wanted:.4g} mm wide there.",
                figure=2 * semi, limit=wanted, unit="mm", remedy=f"a clear diameter of at least {wanted:.4g} mm, or a smaller aperture",
            )  # fmt: skip
    field_deg = prescription.field_half_angle_deg or 0.0
    if field_deg > FIRST_ORDER_UP_TO_DEG:
        yield finding(
            "field-not-screened", "/field_half_angle_deg",
            f"Vignetting is not looked at: at a half field of {field_deg:g} deg first order, good up to {FIRST_ORDER_UP_TO_DEG:g} deg, does not tell it.",
            figure=field_deg, limit=FIRST_ORDER_UP_TO_DEG, unit="deg",
        )  # fmt: skip
    elif marginal_heights_mm and chief_heights_mm:
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
