"""The arithmetic of a blank: its size, how many come out of a piece of stock, and what of the glass is lost on the way."""

from __future__ import annotations

import math

from services.glass.errors import SizeImpossible
from services.optics.law import law


@law
def blank_thickness_mm(*, envelope_mm: float, per_face_mm: float) -> float:
    """Thickness [mm] of a blank: the envelope of the lens at the diameter of the blank, and an allowance on both faces.

    Equation: envelope_mm + 2 * per_face_mm
    Source: common practice: a cored or sawn blank carries the same allowance on both faces.
    """
    return envelope_mm + 2 * per_face_mm


@law
def plates_in_depth(*, depth_mm: float, skin_mm: float, kerf_mm: float, thickness_mm: float) -> int:
    """Number of plates of a thickness [mm] sawn one behind the other out of a depth [mm].

    Raises `SizeImpossible` for a plate of zero or less, or a negative kerf or skin.
    Equation: max(0, floor((depth_mm - 2 * skin_mm + kerf_mm + 1e-9) / (thickness_mm + kerf_mm)))
    Notes: between n plates lie n - 1 cuts; the skin goes off both ends; 1e-9 mm is what binary arithmetic may lose.
    Source: derived.
    """
    if not thickness_mm > 0:
        raise SizeImpossible("plate thickness", thickness_mm, "above 0 mm")
    for what, size in (("saw kerf", kerf_mm), ("skin", skin_mm)):
        if not size >= 0:
            raise SizeImpossible(what, size, "0 mm or more")
    return max(0, math.floor((depth_mm - 2 * skin_mm + kerf_mm + 1e-9) / (thickness_mm + kerf_mm)))


@law
def blanks_of_a_piece(*, discs_per_plate: int, plates_per_slab: int) -> int:
    """Blanks that a piece of stock gives.

    Equation: discs_per_plate * plates_per_slab
    Source: derived.
    """
    return discs_per_plate * plates_per_slab


@law
def plate_utilisation(*, discs_per_plate: int, diameter_mm: float, length_mm: float, width_mm: float) -> float:
    """Share of the face of a plate that lies in discs.

    Equation: discs_per_plate * pi * diameter_mm**2 / (4 * length_mm * width_mm)
    Source: derived.
    """
    return discs_per_plate * math.pi * diameter_mm**2 / 4 / (length_mm * width_mm)


@law
def slice_utilisation(*, discs_per_plate: int, diameter_mm: float, slice_mm: float) -> float:
    """Share of the face of a round slice that lies in discs.

    Equation: discs_per_plate * (diameter_mm / slice_mm)**2
    Source: derived.
    """
    return discs_per_plate * (diameter_mm / slice_mm) ** 2


@law
def block_volume_mm3(*, length_mm: float, width_mm: float, thickness_mm: float) -> float:
    """Volume [mm^3] of a slab or a strip.

    Equation: length_mm * width_mm * thickness_mm
    Source: derived.
    """
    return length_mm * width_mm * thickness_mm


@law
def bought_per_blank_g(*, piece_mass_g: float, blanks_per_piece: int) -> float:
    """Bought mass [g] for each blank of a piece that is used up.

    Equation: piece_mass_g / blanks_per_piece
    Source: derived.
    """
    return piece_mass_g / blanks_per_piece


@law
def bought_per_gram_finished(*, bought_per_blank_g: float, finished_mass_g: float) -> float:
    """Grams bought for each gram of the finished element, where the piece is used up.

    Equation: bought_per_blank_g / finished_mass_g
    Source: derived.
    """
    return bought_per_blank_g / finished_mass_g


@law
def lost_in_sawing_share(*, plates_per_slab: int, thickness_mm: float, depth_mm: float) -> float:
    """Share of a piece that skin, saw cuts and the end that makes no plate take.

    Equation: 1 - plates_per_slab * thickness_mm / depth_mm
    Source: derived.
    """
    return 1 - plates_per_slab * thickness_mm / depth_mm


@law
def lost_in_coring_share(*, utilisation: float) -> float:
    """Share of a plate that core cuts, webs, margins and corners take.

    Equation: 1 - utilisation
    Source: derived.
    """
    return 1 - utilisation


@law
def removed_share(*, finished_mass_g: float, mass_g: float) -> float:
    """Share of a blank that is ground and centred away.

    Equation: 1 - finished_mass_g / mass_g
    Source: derived.
    """
    return 1 - finished_mass_g / mass_g


@law
def discs_in_square_rows(*, length_mm: float, width_mm: float, clear_edge_mm: float, diameter_mm: float, gap_mm: float) -> int:
    """Discs that plain square rows give in a plate: what a better layout is held against.

    Equation: max(0, floor((length_mm - 2 * clear_edge_mm + gap_mm + 1e-9) / (diameter_mm + gap_mm))) * max(0, floor((width_mm - 2 * clear_edge_mm + gap_mm + 1e-9) / (diameter_mm + gap_mm)))
    Source: derived.
    """
    along, across = (
        math.floor((side - 2 * clear_edge_mm + gap_mm + 1e-9) / (diameter_mm + gap_mm)) for side in (length_mm, width_mm)
    )
    return max(0, along) * max(0, across)


@law
def discs_at_most(*, length_mm: float, width_mm: float, clear_edge_mm: float, diameter_mm: float, gap_mm: float) -> int:
    """No layout of equal discs in a plate has more.

    Equation: floor(2 / sqrt(3) * (length_mm - 2 * clear_edge_mm - diameter_mm) * (width_mm - 2 * clear_edge_mm - diameter_mm) / (diameter_mm + gap_mm)**2 + (length_mm + width_mm - 4 * clear_edge_mm - 2 * diameter_mm) / (diameter_mm + gap_mm) + 1 + 1e-9)
    Notes: 2 A / (sqrt(3) p^2) + P / (2 p) + 1 for the region of area A and perimeter P in which centres may lie, p apart.
    Source: N. Oler, An inequality in the geometry of numbers, Acta Math. 105 (1961), from memory.
    """
    pitch = diameter_mm + gap_mm
    long, short = (side - 2 * clear_edge_mm - diameter_mm for side in (length_mm, width_mm))
    return math.floor(2 / math.sqrt(3) * long * short / pitch**2 + (long + short) / pitch + 1 + 1e-9)


@law
def discs_at_most_in_a_slice(*, slice_mm: float, clear_edge_mm: float, diameter_mm: float, gap_mm: float) -> int:
    """No layout of equal discs in a round slice has more.

    Equation: floor(2 / sqrt(3) * pi * ((slice_mm - diameter_mm) / 2 - clear_edge_mm)**2 / (diameter_mm + gap_mm)**2 + pi * ((slice_mm - diameter_mm) / 2 - clear_edge_mm) / (diameter_mm + gap_mm) + 1 + 1e-9)
    Source: as `discs_at_most`.
    """
    pitch, radius = diameter_mm + gap_mm, (slice_mm - diameter_mm) / 2 - clear_edge_mm
    return math.floor(2 / math.sqrt(3) * math.pi * radius**2 / pitch**2 + math.pi * radius / pitch + 1 + 1e-9)
