"""How much of the glass becomes lens: the share of a plate in discs, against what discs can cover, and grams paid for per gram shipped."""

from __future__ import annotations

from services.glass.domain.layout import Layout
from services.glass.errors import SizeImpossible
from services.shop.layout.rows import HEXAGONAL_LIMIT


def utilisation(*, layout: Layout) -> float:
    """Share of the plate's face that lies in discs; raises `SizeImpossible` for a plate without a face."""
    if not layout.plate_area_mm2 > 0:
        raise SizeImpossible("smaller side of the plate", min(layout.length_mm, layout.width_mm), "above 0 mm")
    return layout.disc_area_mm2 / layout.plate_area_mm2


def share_of_hexagonal_limit(*, utilisation: float) -> float:
    """A utilisation as a share of pi/sqrt(12), which no layout of equal discs exceeds; 1 would leave nothing to gain."""
    return utilisation / HEXAGONAL_LIMIT


def hexagonal_limit_with_gap(*, diameter_mm: float, gap_mm: float) -> float:
    """Share of an endless plate in discs of a diameter [mm] that keep a gap [mm].

    Raises `SizeImpossible` for a disc of zero or less, or a negative gap.
    Notes: pi/sqrt(12) (d / (d + k))^2: what the cuts take cannot be laid better.
    Source: derived.
    """
    if not diameter_mm > 0:
        raise SizeImpossible("disc diameter", diameter_mm, "above 0 mm")
    if not gap_mm >= 0:
        raise SizeImpossible("gap between discs", gap_mm, "0 mm or more")
    return HEXAGONAL_LIMIT * (diameter_mm / (diameter_mm + gap_mm)) ** 2


def grams_paid_per_gram_shipped(*, bought_mass_g: float, credited_mass_g: float, shipped_mass_g: float) -> float | None:
    """Grams of glass that the customer pays for, for each gram in the lenses shipped; `None` when nothing is shipped.

    Args: bought mass [g], mass of remnants credited [g], mass of finished lenses shipped [g].
    Source: derived.
    """
    return (bought_mass_g - credited_mass_g) / shipped_mass_g if shipped_mass_g > 0 else None
