"""What a stack of films reflects and lets through: the characteristic matrix."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from shared_schemas.problem import FigureOutOfRange

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Index = complex | Floats | Complexes
"""An index of refraction n + ik, k from 0: one figure, or one for each wavelength."""

Polarisation = Literal["s", "p", "mean"]

MOST_DAMPING = 300.0
"""Absorption in one layer, Im(d), beyond which exp(-2 Im(d)) is 0 in floating point; more would only overflow."""

GRAZING = 1e-30
"""Stands for n cos(th) = 0, exactly at the critical angle, where the admittance of p is infinite."""


@dataclass(frozen=True)
class Films:
    """What a stack does to light: shares reflected and passed on into the substrate, shape (angles, wavelengths)."""

    reflected: Floats
    passed: Floats


def films(
    *,
    indices: Sequence[Index],
    thicknesses_nm: Sequence[float],
    substrate_index: Index,
    wavelengths_nm: Floats,
    angles_deg: Floats,
    polarisation: Polarisation = "mean",
    incidence_index: float = 1.0,
) -> Films:
    """Shares of light that a stack reflects and passes, for every angle and wavelength.

    Args:
        indices: of the layers, outermost first; n + ik, k > 0 absorbs; each one figure or shape (wavelengths,).
        thicknesses_nm: physical thickness of the layers [nm].
        substrate_index: of what lies behind them; may absorb.
        wavelengths_nm: in vacuum, shape (wavelengths,) [nm].
        angles_deg: of incidence, in the medium in front, shape (angles,) [deg].
        polarisation: s, p, or the mean of both.
        incidence_index: of the medium in front; it must not absorb, or reflected and incident light do not part.

    Notes:
        q_j = n_j cos(th_j) = sqrt(n_j^2 - (n_0 sin th_0)^2), d_j = 2 pi q_j t_j / lambda; eta = q (s), n^2/q (p);
        M_j = [[cos d, -i sin d/eta], [-i eta sin d, cos d]]; [B, C] = prod M_j [1, eta_sub];
        R = |(eta_0 B - C)/(eta_0 B + C)|^2, T = 4 eta_0 Re(eta_sub)/|eta_0 B + C|^2. The layers are plane, even and without
        scatter; the light is coherent through all of them. With n - ik the sign of i is the other.

    Source: H. A. Macleod, Thin-Film Optical Filters, ch. 2, from memory.

    Raises: FigureOutOfRange for an index whose real part is not above 0, one that amplifies, a negative thickness, a
        wavelength not above 0, an angle of 90 deg or more.
    """
    _refuse_impossible(indices, thicknesses_nm, substrate_index, incidence_index, wavelengths_nm, angles_deg)
    kinds: tuple[Polarisation, ...] = ("s", "p") if polarisation == "mean" else (polarisation,)
    if polarisation == "mean" and not np.any(angles_deg):
        kinds = ("s",)  # at normal incidence both are the same
    invariant = incidence_index * np.sin(np.radians(angles_deg))[:, np.newaxis]
    found = [
        _of_one_kind(indices, thicknesses_nm, substrate_index, incidence_index, wavelengths_nm, invariant, kind) for kind in kinds
    ]
    if len(found) == 1:
        return found[0]
    return Films(np.mean([one.reflected for one in found], axis=0), np.mean([one.passed for one in found], axis=0))


def reflectance(
    *,
    indices: Sequence[Index],
    thicknesses_nm: Sequence[float],
    substrate_index: Index,
    wavelengths_nm: Floats,
    angle_deg: float = 0.0,
) -> Floats:
    """Reflectance of a stack in air, mean of both polarisations, one figure a wavelength; see `films`."""
    found = films(
        indices=indices, thicknesses_nm=thicknesses_nm, substrate_index=substrate_index, wavelengths_nm=wavelengths_nm,
        angles_deg=np.array([angle_deg]),
    )  # fmt: skip
    return np.asarray(found.reflected[0])


def reflectances_of_stacks(
    *, indices: Sequence[float], thicknesses_nm: Floats, substrate_index: Floats, wavelengths_nm: Floats, angle_deg: float = 0.0
) -> Floats:
    """Reflectance in air of many stacks of the same clear films, mean of both polarisations; see `films`, which takes longer.

    Args:
        indices: of the films, outermost first, above 1.
        thicknesses_nm: of the layers of every stack, 0 or more, shape (stacks, layers) [nm].

    Returns: shape (stacks, wavelengths).
    """
    invariant = math.sin(math.radians(angle_deg)) ** 2
    normal = [math.sqrt(index**2 - invariant) for index in indices]
    cosine = math.cos(math.radians(angle_deg))
    behind = np.sqrt(substrate_index**2 - invariant)
    turns = -2j * np.pi / wavelengths_nm
    phases = [np.exp(turns * (q * thicknesses_nm[:, [layer]])) for layer, q in enumerate(normal)]
    each = [_of_clear_films(normal, phases, cosine, behind)]
    if angle_deg:
        admittances = [index**2 / q for index, q in zip(indices, normal, strict=True)]
        each.append(_of_clear_films(admittances, phases, 1 / cosine, substrate_index**2 / behind))
    return np.asarray(sum(each) / len(each))


def _of_clear_films(admittances: Sequence[float], phases: Sequence[Complexes], front: float, behind: Floats) -> Floats:
    """One polarisation, by the admittance that each layer turns: its amplitude of reflection goes round by twice the phase."""
    met: Floats | Complexes = behind
    for admittance, phase in zip(reversed(admittances), reversed(phases), strict=True):
        turned = (admittance - met) / (admittance + met) * phase**2
        met = admittance * (1 - turned) / (1 + turned)
    return np.asarray(np.abs((front - met) / (front + met)) ** 2)


def _of_one_kind(
    indices: Sequence[Index], thicknesses_nm: Sequence[float], substrate_index: Index, incidence_index: float, wavelengths_nm: Floats,
    invariant: Floats, kind: Polarisation,
) -> Films:  # fmt: skip
    """One polarisation. `damped` keeps the size that was taken out of B and C, so that thick metal does not overflow."""
    _, front = _normal_and_admittance(incidence_index, invariant, kind)
    _, behind = _normal_and_admittance(substrate_index, invariant, kind)
    shape = np.broadcast_shapes(invariant.shape, wavelengths_nm.shape)
    b, c = np.ones(shape, dtype=complex), np.broadcast_to(behind, shape)
    damped = np.zeros(shape)
    for index, thickness in zip(reversed(indices), reversed(thicknesses_nm), strict=True):
        q, admittance = _normal_and_admittance(index, invariant, kind)
        delta = 2 * np.pi * thickness * q / wavelengths_nm
        fades = bool(delta.imag.any())
        phase = delta.real + 1j * np.minimum(delta.imag, MOST_DAMPING) if fades else delta.real
        cosine, sine = np.cos(phase), -1j * np.sin(phase)
        b, c = cosine * b + sine / admittance * c, admittance * sine * b + cosine * c
        if fades:
            size = np.abs(b) + np.abs(c)
            b, c, damped = b / size, c / size, damped + np.log(size)
    met = front * b + c
    reflected = np.abs((front * b - c) / met) ** 2
    passed = 4 * front.real * behind.real * np.exp(-2 * damped) / np.abs(met) ** 2
    return Films(reflected, passed)


def _normal_and_admittance(index: Index, invariant: Floats, kind: Polarisation) -> tuple[Complexes, Complexes]:
    """q = n cos(th), of which the root that fades or goes on, and the admittance of one polarisation."""
    square = np.asarray(index, dtype=complex) ** 2
    q = np.asarray(np.sqrt(square - invariant**2), dtype=complex)
    q = np.where(q == 0, GRAZING, q)
    return q, (q if kind == "s" else np.asarray(square / q, dtype=complex))


def _refuse_impossible(
    indices: Sequence[Index], thicknesses_nm: Sequence[float], substrate_index: Index, incidence_index: float, wavelengths_nm: Floats,
    angles_deg: Floats,
) -> None:  # fmt: skip
    for name, figure in _extremes((*indices, substrate_index, incidence_index)):
        if figure <= 0 and name == "index of refraction":
            raise FigureOutOfRange(name, figure, "figures above 0")
        if figure < 0:
            raise FigureOutOfRange(name, figure, "0 and above")
    for thickness in thicknesses_nm:
        if thickness < 0:
            raise FigureOutOfRange("thickness of a layer [nm]", thickness, "0 and above")
    for angle in angles_deg:
        if not 0 <= angle < 90:
            raise FigureOutOfRange("angle of incidence [deg]", float(angle), "0 to below 90")
    if wavelengths_nm.size and wavelengths_nm.min() <= 0:
        raise FigureOutOfRange("wavelength [nm]", float(wavelengths_nm.min()), "figures above 0")


def _extremes(indices: Sequence[Index]) -> Iterator[tuple[str, float]]:
    for index in indices:
        real, imaginary = (index.real.min(), index.imag.min()) if isinstance(index, np.ndarray) else (index.real, index.imag)
        yield "index of refraction", float(real)
        yield "absorption of a layer, k", float(imaginary)


def quarter_wave_nm(*, wavelength_nm: float, index: float) -> float:
    """Physical thickness of a quarter wave: lambda/(4 n) [nm].

    Raises: FigureOutOfRange for an index or a wavelength that is not above 0.
    """
    if wavelength_nm <= 0:
        raise FigureOutOfRange("wavelength [nm]", wavelength_nm, "figures above 0")
    if index <= 0:
        raise FigureOutOfRange("index of refraction", index, "figures above 0")
    return wavelength_nm / (4 * index)
