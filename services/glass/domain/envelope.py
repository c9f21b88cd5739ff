"""The envelope of a lens: how thick the blank must be for both faces to come out of it."""

from __future__ import annotations

import math

import numpy as np

from services.glass.errors import SizeImpossible
from shared_schemas.prescription import Surface

SAMPLES_OF_AN_ASPHERE = 129


def reach_mm(*, surface: Surface) -> float:
    """Radial distance [mm] as far as a face goes on by its own formula; infinite for a plano face.

    Notes: a conic ends at |R| / sqrt(1 + k) for k > -1. Even terms are trusted as far as the clear diameter only: what
    a polynomial does beyond it nobody has drawn.
    Source: derived.
    """
    if surface.asphere:
        return surface.clear_diameter_mm / 2
    if surface.radius_mm is None or surface.conic <= -1:
        return math.inf
    return abs(surface.radius_mm) / math.sqrt(1 + surface.conic)


def sag_mm(*, surface: Surface, radial_mm: float) -> float:
    """Sagitta [mm] of a face at a radial distance [mm]; beyond its reach a flat seat goes on from where it ends.

    Raises `SizeImpossible` for a negative distance.
    Notes: z = c r^2 / (1 + sqrt(1 - (1 + k) c^2 r^2)) + sum a_n r^n, c = 1/R; positive towards the back.
    Source: ISO 10110-12, from memory.
    """
    if radial_mm < 0:
        raise SizeImpossible("radial distance", radial_mm, "0 mm or more")
    r = min(radial_mm, reach_mm(surface=surface))
    terms: float = sum(a * r ** int(order) for order, a in surface.asphere.items())
    if surface.radius_mm is None:
        return terms
    c = 1 / surface.radius_mm
    under_root = max(0.0, 1 - (1 + surface.conic) * (c * r) ** 2)
    return c * r * r / (1 + math.sqrt(under_root)) + terms


def sag_range_mm(*, surface: Surface, semi_diameter_mm: float) -> tuple[float, float]:
    """Least and greatest sagitta [mm] of a face between its vertex and a semi-diameter [mm].

    Notes: a conic has them at vertex and rim; a face with even terms may turn back in between and is sampled.
    Source: derived.
    """
    if not surface.asphere:
        rim = sag_mm(surface=surface, radial_mm=semi_diameter_mm)
        return min(0.0, rim), max(0.0, rim)
    sags = [sag_mm(surface=surface, radial_mm=r) for r in np.linspace(0.0, semi_diameter_mm, SAMPLES_OF_AN_ASPHERE).tolist()]
    return min(sags), max(sags)


def envelope_mm(*, front: Surface, back: Surface, centre_thickness_mm: float, diameter_mm: float) -> float:
    """Distance [mm] between the extreme planes of a lens that is extended to a diameter [mm].

    Raises `SizeImpossible` for a thickness or a diameter of zero or less.
    Notes: max(CT + z2) - min(z1) over the diameter. A convex face adds nothing, a concave one its rim.
    Source: derived.
    """
    for what, size in (("centre thickness", centre_thickness_mm), ("diameter", diameter_mm)):
        if not size > 0:
            raise SizeImpossible(what, size, "above 0 mm")
    foremost, _ = sag_range_mm(surface=front, semi_diameter_mm=diameter_mm / 2)
    _, hindmost = sag_range_mm(surface=back, semi_diameter_mm=diameter_mm / 2)
    return centre_thickness_mm + hindmost - foremost


def disc_volume_mm3(*, diameter_mm: float, thickness_mm: float) -> float:
    """Volume [mm^3] of a disc, pi d^2 t / 4; raises `SizeImpossible` for a size of zero or less."""
    for what, size in (("diameter", diameter_mm), ("thickness", thickness_mm)):
        if not size > 0:
            raise SizeImpossible(what, size, "above 0 mm")
    return math.pi * diameter_mm**2 * thickness_mm / 4
