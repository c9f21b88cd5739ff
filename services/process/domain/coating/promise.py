"""What a stack of the rates leaves of the reflection on a glass over a band: the figure a shop can promise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from services.optics.dispersion import Dispersion
from services.optics.thin_film import Floats, reflectance
from shared_schemas.rates import CoatingRow

STEP_NM = 2.0
"""Wavelengths of a band lie no farther apart: a stack for the visible does not change in between by more than 1e-4."""


@dataclass(frozen=True)
class Stack:
    """Layers, outermost first: index and thickness [nm]. Without any it is the bare face."""

    indices: tuple[float, ...] = ()
    thicknesses_nm: tuple[float, ...] = ()


BARE = Stack()


@dataclass(frozen=True)
class Asked:
    """Where a coating is to work: a band [nm], both ends the same for one line, and the angle of incidence in air [deg]."""

    from_nm: float
    to_nm: float
    angle_deg: float = 0.0

    def __str__(self) -> str:
        """In words."""
        line = self.from_nm == self.to_nm
        band = f"at {self.from_nm:g} nm" if line else f"from {self.from_nm:g} to {self.to_nm:g} nm"
        return band + (f" and {self.angle_deg:g} deg" if self.angle_deg else "")


@dataclass(frozen=True)
class Left:
    """What is left of the reflection in a band: mean and worst share, and where the worst is [nm]."""

    mean: float
    worst: float
    worst_at_nm: float


def stack_of(row: CoatingRow) -> Stack:
    """The layers of a row."""
    return Stack(tuple(layer.index for layer in row.layers), tuple(layer.thickness_nm for layer in row.layers))


def band_of(row: CoatingRow) -> Asked:
    """The band of a row; its design wavelength alone where it has none."""
    if row.band_from_nm is None or row.band_to_nm is None:
        return Asked(row.design_wavelength_nm, row.design_wavelength_nm)
    return Asked(row.band_from_nm, row.band_to_nm)


def promise_of(row: CoatingRow, asked: Asked, glass: Dispersion) -> Left | None:
    """What a coating leaves on a glass in a band; None where the glass has no stated index over all of it."""
    return left_on(stack_of(row), asked, glass)


def bare_face(asked: Asked, glass: Dispersion) -> Left | None:
    """What an uncoated face reflects in a band; None where the glass has no stated index over all of it."""
    return left_on(BARE, asked, glass)


@lru_cache(maxsize=4096)
def left_on(stack: Stack, asked: Asked, glass: Dispersion) -> Left | None:
    """Mean over the band and worst reflectance of a stack in air, mean of both polarisations.

    Notes: the glass has its own index at each wavelength; the layers keep the index of their row, which is stated at the
    design wavelength.
    """
    if not glass.covers(asked.from_nm, asked.to_nm):
        return None
    wavelengths, index = _over_band(asked.from_nm, asked.to_nm, glass)
    found = reflectance(
        indices=stack.indices, thicknesses_nm=stack.thicknesses_nm, substrate_index=index, wavelengths_nm=wavelengths,
        angle_deg=asked.angle_deg,
    )  # fmt: skip
    worst = int(np.argmax(found))
    mean = (found[:-1] + found[1:]).mean() / 2 if len(found) > 1 else found[0]
    return Left(float(mean), float(found[worst]), float(wavelengths[worst]))


@lru_cache(maxsize=1024)
def _over_band(from_nm: float, to_nm: float, glass: Dispersion) -> tuple[Floats, Floats]:
    """Wavelengths of a band, evenly apart [nm], and the index of the glass at each."""
    wavelengths = np.linspace(from_nm, to_nm, math.ceil((to_nm - from_nm) / STEP_NM) + 1)
    return wavelengths, glass.index(wavelengths)
