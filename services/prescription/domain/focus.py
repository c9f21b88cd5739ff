"""Does the lens focus at all, and if not, which single typing error explains it?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from services.optics.rays import Spot, from_paraxial_focus_mm, spots
from services.prescription.domain.typo_repair import does_not_focus, typo_repair, whole_file_in_inches
from shared_schemas.check import Finding, ImageSpot
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Prescription


@np.errstate(all="ignore")
def images_and_findings(
    prescription: Prescription, indices: Sequence[float], *, paraxial_focus_mm: float | None
) -> tuple[tuple[ImageSpot, ...], tuple[Finding, ...]]:
    """The image on the axis, and at the edge of the field where one is stated; and what is to be said of it.

    Nothing is said where the lens focuses; otherwise the cell to look at and what it should say. Sizes beyond all measure
    overflow on their way; such rays count as lost.
    """
    fields = [0.0, *([prescription.field_half_angle_deg] if prescription.field_half_angle_deg else [])]
    traced = spots(prescription=prescription, indices=indices, fields_deg=fields)
    images = tuple(
        ImageSpot(
            field_deg=spot.field_deg,
            rms_spot_mm=spot.rms_mm,
            best_focus_mm=spot.position_mm,
            from_paraxial_focus_mm=None
            if spot.position_mm is None or paraxial_focus_mm is None
            else from_paraxial_focus_mm(best_focus_mm=spot.position_mm, paraxial_focus_mm=paraxial_focus_mm),
            rays_lost_share=spot.lost,
        )
        for spot in traced
    )
    return images, tuple(_findings(prescription, indices, traced[0]))


def _findings(prescription: Prescription, indices: Sequence[float], axis: Spot) -> Iterator[Finding]:
    inches = whole_file_in_inches(prescription)
    if inches is not None:
        yield finding(
            "units-mistaken", inches.pointer, inches.sentence, figure=str(inches.was), limit=str(inches.becomes),
            remedy=f"read the file as {inches.becomes} instead of {inches.was}",
        )  # fmt: skip
    fault = does_not_focus(prescription, indices, axis=axis)
    if fault is None:
        return
    figures: dict[str, Any] = {"figure": fault.spot_mm, "limit": _finite(fault.limit_mm), "unit": "mm"}
    repair = typo_repair(prescription, indices, fault=fault)
    if repair is None:
        tried = " No single change of a radius, row, decimal point or unit fixes it." if fault.blurred else ""
        yield finding("focus-missing", "/elements", fault.sentence + tried, **figures)
        return
    others = f" Nearly as well: {'; or '.join(repair.others)}." if repair.others else ""
    in_figures = isinstance(repair.was, float) and isinstance(repair.becomes, float)
    remedy = f"{repair.becomes:g} instead of {repair.was:g}" if in_figures else f"{repair.becomes} instead of {repair.was}"
    found = finding("focus-missing", repair.pointer, repair.sentence + others, remedy=remedy, **figures)
    yield found.model_copy(update={"changes": repair.fields})


def _finite(figure: float) -> float | None:
    return figure if math.isfinite(figure) else None
