"""Which glass is it, and what does it ask of the shop?"""

from __future__ import annotations

import re
from dataclasses import dataclass

from services.prescription.domain.dispersion import index_of
from services.prescription.errors import WavelengthOutOfRange
from shared_schemas.glass_reference import GlassNotFound, find_glass
from shared_schemas.prescription import Element, IndexGlass, Prescription
from shared_schemas.rates import GlassRow, Rates

RADIOACTIVE = re.compile(r"\b(thor\w*|radioactiv\w*|uran\w*)\b", re.IGNORECASE)
"""Words by which a prescription says that a glass, or a coating on it, is radioactive."""


@dataclass(frozen=True)
class Material:
    """The glass of one element: its row, if the rates have one; its index; and why there is none."""

    row: GlassRow | None
    index: float
    not_found: GlassNotFound | None = None
    out_of_range: WavelengthOutOfRange | None = None


def material_of(element: Element, *, wavelength_nm: float, rates: Rates) -> Material:
    """The glass an element means. What cannot be found is traced as the commonest crown, so that the rest can be checked."""
    if isinstance(element.glass, IndexGlass):
        return _with_index(None, element.glass, wavelength_nm)
    try:
        row = find_glass(element.glass, rates.glasses)
    except GlassNotFound as fault:
        return Material(None, 1.5168, not_found=fault)
    return _with_index(row, row, wavelength_nm)


def _with_index(row: GlassRow | None, glass: GlassRow | IndexGlass, wavelength_nm: float) -> Material:
    try:
        return Material(row, index_of(glass, wavelength_nm))
    except WavelengthOutOfRange as fault:
        return Material(row, glass.nd, out_of_range=fault)


def radioactive_words(prescription: Prescription) -> list[tuple[str, str]]:
    """Places (JSON pointers) that speak of radioactive material, with what they say."""
    texts = [("/title", prescription.title), ("/remarks", prescription.remarks)]
    for number, element in enumerate(prescription.elements):
        if isinstance(element.glass, str):
            texts.append((f"/elements/{number}/glass", element.glass))
        for face, surface in (("front", element.front), ("back", element.back)):
            texts.append((f"/elements/{number}/{face}/coating", surface.coating or ""))
    return [(pointer, match.group()) for pointer, text in texts if (match := RADIOACTIVE.search(text))]
