"""A tolerance beside the dimension it is of: where it is nearly as large, somebody wrote it wrong."""

from __future__ import annotations

from collections.abc import Iterator

from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Element

WIDE_SHARE = 0.1
"""Drawings leave a dimension a few per cent at most; with more than a tenth of it a decimal point has slipped (common practice)."""


def tolerance_findings(*, element: Element, pointer: str) -> Iterator[Finding]:
    """A finding for each stated tolerance of an element that is wide beside its dimension, or reaches it. Defaults make none."""
    given = element.tolerances
    if given.diameter_mm is not None:
        upper, lower = given.diameter_mm
        stated = f"{upper:+g}/{lower:+g} mm"
        yield from _beside(
            "diameter", element.name, element.diameter_mm, max(abs(upper), abs(lower)), stated, f"{pointer}/tolerances/diameter_mm"
        )
    if given.centre_thickness_mm is not None:
        size, most = element.centre_thickness_mm, given.centre_thickness_mm
        yield from _beside("centre thickness", element.name, size, most, f"±{most:g} mm", f"{pointer}/tolerances/centre_thickness_mm")  # fmt: skip


def _beside(what: str, name: str, size_mm: float, most_off_mm: float, stated: str, where: str) -> Iterator[Finding]:
    """The finding for a dimension [mm] that may be off by so much [mm]."""
    if most_off_mm <= WIDE_SHARE * size_mm:
        return
    repair = f"at most {WIDE_SHARE * size_mm:.3g} mm; look for a slipped decimal point"
    tells = f"The {what} of {name}, {size_mm:g} mm, has a tolerance of {stated}"
    if most_off_mm >= size_mm:
        message = f"{tells}: as large as the {what} itself, which could vanish."
        yield finding("tolerance-reaches-size", where, message, figure=most_off_mm, limit=size_mm, unit="mm", remedy=repair)
    else:
        message = f"{tells}: {most_off_mm / size_mm:.0%} of it."
        yield finding("tolerance-wide", where, message, figure=most_off_mm, limit=WIDE_SHARE * size_mm, unit="mm", remedy=repair)
