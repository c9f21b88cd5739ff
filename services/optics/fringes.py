"""Fringe spacings: of sagitta and of radius."""

from __future__ import annotations

import math

from services.optics.law import law

REFERENCE_NM = 546.07
"""Wavelength of fringe spacings where a drawing states none [nm]. ISO 10110-5, from memory."""


@law
def fringes_of_sag(*, sag_error_mm: float, wavelength_nm: float = REFERENCE_NM) -> float:
    """Fringe spacings in an error of sagitta [mm]; one spacing is half a wavelength.

    Equation: abs(sag_error_mm) / (wavelength_nm * 1e-6 / 2)
    Source: ISO 10110-5, from memory.
    """
    return abs(sag_error_mm) / (wavelength_nm * 1e-6 / 2)


def sag_error_mm(*, fringes: float, wavelength_nm: float = REFERENCE_NM) -> float:
    """Error of sagitta [mm] of a number of fringe spacings.

    Source: ISO 10110-5, from memory.
    """
    return fringes * wavelength_nm * 1e-6 / 2


def radius_error_mm(*, fringes: float, radius_mm: float, diameter_mm: float, wavelength_nm: float = REFERENCE_NM) -> float:
    """Error of radius [mm] that shows as that many fringe spacings over a diameter [mm], for shallow curves.

    Notes: 8 R^2 dz / D^2; errs by some per cent at D/R of 1/2.
    Source: derived; the same dependence in https://scribd.com/document/108948816/Newton-Fringe-Testing (2009).
    """
    return 8 * radius_mm**2 * sag_error_mm(fringes=fringes, wavelength_nm=wavelength_nm) / diameter_mm**2


def exact_radius_error_mm(*, fringes: float, radius_mm: float, diameter_mm: float, wavelength_nm: float = REFERENCE_NM) -> float:
    """Error of radius [mm] of the sphere whose sagitta is smaller by that many fringe spacings.

    Notes: R' = (y^2 + z^2) / (2 z) with z the smaller sagitta; the error is R' - R, a little more than on the other side.
    Source: derived.
    """
    y = diameter_mm / 2
    radius = abs(radius_mm)
    z = y * y / (radius + math.sqrt(radius * radius - y * y)) - sag_error_mm(fringes=fringes, wavelength_nm=wavelength_nm)
    return (y * y + z * z) / (2 * z) - radius
