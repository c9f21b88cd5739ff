"""Sagitta and slope of a face: plano, sphere, conic, even asphere."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from services.prescription.errors import HeightBeyondFace
from shared_schemas.prescription import Surface

ROUNDING = 2e-12
"""How far past the very end of a conic a height may lie by rounding, as a share of the square under the root."""

LEAST_ROOT = 1e-12
"""Floor of the square root in the slope: at the very rim of a hemisphere the slope has no figure."""


def reach_mm(*, surface: Surface) -> float:
    """Height [mm] at which the conic of a face ends; infinite for plano, paraboloid and hyperboloid.

    Notes: |R| / sqrt(1 + k) for k > -1.
    Source: ISO 10110-12 form, from memory.
    """
    if surface.radius_mm is None or surface.conic <= -1:
        return math.inf
    return abs(surface.radius_mm) / math.sqrt(1 + surface.conic)


def conic_sag_mm(*, surface: Surface, height_mm: float) -> float:
    """Sagitta [mm] of a face at a height [mm] without its aspheric terms; positive towards the back.

    Raises `HeightBeyondFace` past the end of the conic.
    Notes: z = c y^2 / (1 + sqrt(1 - (1 + k) c^2 y^2)), c = 1/R.
    Source: ISO 10110-12 form, from memory; for a sphere derived.
    """
    if surface.radius_mm is None:
        return 0.0
    ratio = height_mm / surface.radius_mm
    inside = 1 - (1 + surface.conic) * ratio * ratio
    if inside < -ROUNDING:
        raise HeightBeyondFace(height_mm, reach_mm(surface=surface))
    return height_mm * ratio / (1 + math.sqrt(max(0.0, inside)))


def aspheric_sag_mm(*, surface: Surface, height_mm: float) -> float:
    """What the even terms add [mm] at a height [mm]: the sum of A_n y^n. Not finite where the terms run away.

    Source: ISO 10110-12 form, from memory.
    """
    return (
        math.fsum(terms)
        if all(map(math.isfinite, terms := [a * height_mm ** int(n) for n, a in surface.asphere.items()]))
        else math.inf
    )


def sag_mm(*, surface: Surface, height_mm: float) -> float:
    """Sagitta [mm] of a face at a height [mm], all terms; raises `HeightBeyondFace` past the end of the conic."""
    z = conic_sag_mm(surface=surface, height_mm=height_mm)
    return z + aspheric_sag_mm(surface=surface, height_mm=height_mm) if surface.asphere else z


def slope(*, surface: Surface, height_mm: float) -> float:
    """Slope dz/dy of a face at a height [mm], all terms; raises `HeightBeyondFace` past the end of the conic.

    Notes: c y / sqrt(1 - (1 + k) c^2 y^2) + sum n A_n y^(n - 1).
    Source: derived from the sagitta.
    """
    terms = math.fsum(int(n) * a * height_mm ** (int(n) - 1) for n, a in surface.asphere.items())
    if surface.radius_mm is None:
        return terms
    reach = reach_mm(surface=surface)
    if height_mm > reach * (1 + 1e-12):
        raise HeightBeyondFace(height_mm, reach)
    ratio = height_mm / surface.radius_mm
    return ratio / math.sqrt(max(LEAST_ROOT, 1 - (1 + surface.conic) * ratio * ratio)) + terms


def is_aspheric(*, surface: Surface) -> bool:
    """Whether a face is worked as an asphere: any even term, or a conic constant on a curved face."""
    return any(surface.asphere.values()) or (surface.radius_mm is not None and surface.conic != 0)


@np.errstate(over="ignore", invalid="ignore")
def sags_mm(*, surface: Surface, heights_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sagittas [mm] at many heights [mm] at once, all terms; at a height past the end of the conic that of its end.

    Source: as `sag_mm`.
    """
    c = 0.0 if surface.radius_mm is None else 1 / surface.radius_mm
    ratio = heights_mm * c
    z: NDArray[np.float64] = heights_mm * ratio / (1 + np.sqrt(np.maximum(0.0, 1 - (1 + surface.conic) * ratio * ratio)))
    for order, a in surface.asphere.items():
        z = z + a * heights_mm ** int(order)
    return z


@np.errstate(over="ignore", invalid="ignore")
def slopes(*, surface: Surface, heights_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slopes dz/dy at many heights [mm] at once, all terms.

    Source: as `slope`.
    """
    c = 0.0 if surface.radius_mm is None else 1 / surface.radius_mm
    ratio = heights_mm * c
    steep: NDArray[np.float64] = ratio / np.sqrt(np.maximum(LEAST_ROOT, 1 - (1 + surface.conic) * ratio * ratio))
    for order, a in surface.asphere.items():
        steep = steep + int(order) * a * heights_mm ** (int(order) - 1)
    return steep
