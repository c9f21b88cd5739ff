"""What a stack of films reflects: the characteristic matrix."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from services.process.errors import FigureOutOfRange

Floats = npt.NDArray[np.float64]


def reflectance(
    *,
    indices: Sequence[float],
    thicknesses_nm: Sequence[float],
    substrate_index: float,
    wavelengths_nm: Floats,
    angle_deg: float = 0.0,
) -> Floats:
    """Reflectance of a stack in air, mean of both polarisations, one figure a wavelength.

    Args:
        indices: of the layers, outermost first.
        thicknesses_nm: physical thickness of the layers [nm].
        substrate_index: of the glass.
        wavelengths_nm: shape (n,) [nm].
        angle_deg: of incidence in air [deg].

    Notes:
        M_j = [[cos d, i sin d/eta], [i eta sin d, cos d]], d = 2 pi n t cos(th)/lambda; eta = n cos th (s), n/cos th (p);
        [B, C] = prod M_j [1, eta_sub]; R = |(eta_0 B - C)/(eta_0 B + C)|^2.

    Source: H. A. Macleod, Thin-Film Optical Filters, ch. 2, from memory.

    Raises: FigureOutOfRange for an index below 1, a negative thickness, a wavelength not above 0, an angle of 90 deg or more.
    """
    _refuse_impossible(indices, thicknesses_nm, substrate_index, wavelengths_nm, angle_deg)
    sine = np.sin(np.radians(angle_deg))
    total = np.zeros_like(wavelengths_nm, dtype=float)
    for polarised_p in (False, True):
        eta = [_admittance(n, sine, polarised_p) for n in (1.0, *indices, substrate_index)]
        b, c = np.ones_like(wavelengths_nm, dtype=complex), np.full_like(wavelengths_nm, eta[-1], dtype=complex)
        for n, thickness, admittance in reversed(list(zip(indices, thicknesses_nm, eta[1:-1], strict=True))):
            delta = 2 * np.pi * n * thickness * np.sqrt(1 - (sine / n) ** 2) / wavelengths_nm
            b, c = np.cos(delta) * b + 1j * np.sin(delta) / admittance * c, 1j * admittance * np.sin(delta) * b + np.cos(delta) * c
        total += np.abs((eta[0] * b - c) / (eta[0] * b + c)) ** 2 / 2
    return total


def _refuse_impossible(
    indices: Sequence[float], thicknesses_nm: Sequence[float], substrate_index: float, wavelengths_nm: Floats, angle_deg: float
) -> None:
    for index in (*indices, substrate_index):
        if index < 1:
            raise FigureOutOfRange("index of refraction", index, "1 and above")
    for thickness in thicknesses_nm:
        if thickness < 0:
            raise FigureOutOfRange("thickness of a layer [nm]", thickness, "0 and above")
    if not 0 <= angle_deg < 90:
        raise FigureOutOfRange("angle of incidence [deg]", angle_deg, "0 to below 90")
    if wavelengths_nm.size and wavelengths_nm.min() <= 0:
        raise FigureOutOfRange("wavelength [nm]", float(wavelengths_nm.min()), "figures above 0")


def _admittance(index: float, sine: float, polarised_p: bool) -> float:
    cosine = float(np.sqrt(1 - (sine / index) ** 2))
    return index / cosine if polarised_p else index * cosine


def quarter_wave_nm(*, wavelength_nm: float, index: float) -> float:
    """Physical thickness of a quarter wave: lambda/(4 n) [nm].

    Raises: FigureOutOfRange for an index or a wavelength that is not above 0.
    """
    if wavelength_nm <= 0:
        raise FigureOutOfRange("wavelength [nm]", wavelength_nm, "figures above 0")
    if index <= 0:
        raise FigureOutOfRange("index of refraction", index, "figures above 0")
    return wavelength_nm / (4 * index)
