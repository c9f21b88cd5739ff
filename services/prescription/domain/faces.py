"""One face: what an estimator says of its shape."""

from __future__ import annotations

from collections.abc import Iterator

from services.optics.body import NEARLY_FLAT_SAG_MM, STEEP, TOO_STEEP, share_of_reach
from services.optics.surface import Profile, reach_mm
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Surface


def face_findings(*, surface: Surface, face: Profile, name: str, pointer: str) -> Iterator[Finding]:
    """Too steep, steep, without reach to the rim, nearly flat, aspheric, or with terms that run away."""
    side = pointer.rsplit("/", 1)[-1]
    called = f"The {side} of {name}"
    clear_mm = surface.clear_diameter_mm / 2
    if face.runaway_mm:
        yield finding(
            "asphere-runs-away", f"{pointer}/asphere",
            f"{called} departs from its conic by {face.runaway_mm:.3g} mm within a semi-diameter of {face.rim_mm:g} mm; the figures leave its terms out.",
            figure=min(face.runaway_mm, 1e300), limit=face.rim_mm, unit="mm", remedy="check the unit and the power of ten of the terms",
        )  # fmt: skip
    elif face.aspheric:
        yield finding(
            "face-aspheric", pointer, f"{called} is aspheric: each piece is worked singly.", figure=surface.conic, limit="a sphere"
        )
    yield from _steepness(surface, face, called, pointer)
    sag = abs(face.sag_mm(clear_mm))
    if surface.radius_mm is not None and sag <= NEARLY_FLAT_SAG_MM:
        yield finding(
            "face-nearly-flat", f"{pointer}/radius_mm", f"{called} has a sagitta of {sag:.3f} mm over its clear diameter: nearly flat.",
            figure=sag, limit=NEARLY_FLAT_SAG_MM, unit="mm", remedy="a plane face, where the design allows",
        )  # fmt: skip


def _steepness(surface: Surface, face: Profile, called: str, pointer: str) -> Iterator[Finding]:
    if surface.radius_mm is None:
        return
    where = f"{pointer}/radius_mm"
    clear_mm = surface.clear_diameter_mm / 2
    clear_share = share_of_reach(face=face, height_mm=clear_mm)
    worked_share = max(clear_share, share_of_reach(face=face, height_mm=face.worked_mm))
    if clear_share >= TOO_STEEP:
        yield finding(
            "face-too-steep", where, f"{called} is almost a hemisphere: its clear semi-diameter is {clear_share:.3f} of the height at which the curve ends.",
            figure=clear_share, limit=TOO_STEEP, unit="mm/mm", remedy=f"a clear diameter of at most {2 * STEEP * reach_mm(surface=face.surface):.4g} mm, or a longer radius",
        )  # fmt: skip
    elif worked_share >= STEEP:
        yield finding(
            "face-steep", where, f"{called} is steep: its semi-diameter is {worked_share:.3f} of its radius.",
            figure=worked_share, limit=STEEP, unit="mm/mm", remedy="a longer radius or a smaller diameter",
        )  # fmt: skip
    if face.needs_seat:
        yield finding(
            "face-needs-seat", where,
            f"{called} cannot reach the diameter of {2 * face.rim_mm:g} mm; it gets a flat seat or a step outside {2 * face.curved_to_mm:g} mm.",
            figure=reach_mm(surface=face.surface), limit=face.rim_mm, unit="mm", remedy="draw the seat, or take a smaller diameter",
        )  # fmt: skip
