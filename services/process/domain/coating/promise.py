"""What a stack of the rates reflects on a glass over a band: the figure a shop can promise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from services.optics.dispersion import Dispersion
from services.optics.thin_film import Complexes, Floats, films, reflectance
from shared_schemas.prescription import CoatingDemand
from shared_schemas.rate_rows_of_work import Tabulated
from shared_schemas.rates import CoatingLayer, CoatingRow

STEP_NM = 2.0
"""Wavelengths of a band lie no farther apart: a stack for the visible does not change in between by more than 1e-4."""

STEPS_OF_A_BAND = 600
"""Nor are they more than this: in the infrared a stack changes as slowly as it is thick."""

HIDES_THE_GLASS = 1e-3
"""A metal that passes no more than this share of the light reflects the same whatever lies behind it, to the thousandth."""

BEHIND_METAL = 1.5
"""Index taken for a glass that a metal hides, at wavelengths where its own is unknown."""


@dataclass(frozen=True)
class Stack:
    """Layers, outermost first: index and absorption at the design wavelength, thickness [nm], and the table of those that have one.

    Without any it is the bare face. `range_nm` is where all of them are known.
    """

    indices: tuple[complex, ...] = ()
    thicknesses_nm: tuple[float, ...] = ()
    tables: tuple[tuple[Tabulated, ...], ...] = ()
    range_nm: tuple[float, float] = (0.0, math.inf)

    @property
    def absorbs(self) -> bool:
        """Whether a layer of it absorbs, as metal does."""
        return any(index.imag for index in self.indices) or any(k for table in self.tables for _, _, k in table)

    def at(self, wavelengths_nm: Floats) -> list[complex | Complexes]:
        """The index of each layer at each wavelength [nm]."""
        return [
            index if not table else _from_table(table, wavelengths_nm)
            for index, table in zip(self.indices, self.tables, strict=True)
        ]


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
    """What is reflected in a band: mean, largest and smallest share, and where those are [nm]."""

    mean: float
    worst: float
    worst_at_nm: float
    least: float
    least_at_nm: float

    def meets(self, demand: CoatingDemand) -> bool:
        """Whether it is what is asked for."""
        return self.least >= demand.limit_share if demand.mirror else self.worst <= demand.limit_share

    def nearest_to(self, demand: CoatingDemand) -> tuple[float, float]:
        """The figure that a demand is held against, and where it is [nm]."""
        return (self.least, self.least_at_nm) if demand.mirror else (self.worst, self.worst_at_nm)


def asked_by(demand: CoatingDemand) -> Asked:
    """Where a demand asks a coating to work."""
    return Asked(demand.band_nm[0], demand.band_nm[1], demand.angle_deg)


def stack_of(row: CoatingRow) -> Stack:
    """The layers of a row."""
    return stack_of_layers(row.layers)


@lru_cache(maxsize=1024)
def stack_of_layers(layers: tuple[CoatingLayer, ...]) -> Stack:
    """Layers as a stack."""
    ranges = [layer.range_nm for layer in layers]
    return Stack(
        tuple(complex(layer.index, layer.extinction) for layer in layers),
        tuple(layer.thickness_nm for layer in layers),
        tuple(layer.tabulated for layer in layers),
        (max(shortest for shortest, _ in ranges), min(longest for _, longest in ranges)),
    )


def band_of(row: CoatingRow) -> Asked:
    """The band of a row; its design wavelength alone where it has none."""
    if row.band_from_nm is None or row.band_to_nm is None:
        return Asked(row.design_wavelength_nm, row.design_wavelength_nm)
    return Asked(row.band_from_nm, row.band_to_nm)


def promise_of(row: CoatingRow, asked: Asked, glass: Dispersion) -> Left | None:
    """What a coating reflects on a glass in a band; None where the glass or a film has no stated index over all of it."""
    return left_on(stack_of(row), asked, glass)


def bare_face(asked: Asked, glass: Dispersion) -> Left | None:
    """What an uncoated face reflects in a band; None where the glass has no stated index over all of it."""
    return left_on(BARE, asked, glass)


@lru_cache(maxsize=4096)
def left_on(stack: Stack, asked: Asked, glass: Dispersion) -> Left | None:
    """Mean over the band, largest and smallest reflectance of a stack in air, mean of both polarisations.

    Notes: the glass has its own index at each wavelength, and so have layers with a table; the others keep the index of their row,
    which is stated at the design wavelength. Behind metal that lets no light through the glass need not be known.
    """
    if not (stack.range_nm[0] <= asked.from_nm and asked.to_nm <= stack.range_nm[1]):
        return None
    if glass.covers(asked.from_nm, asked.to_nm):
        wavelengths, index = _over_band(asked.from_nm, asked.to_nm, glass)
    elif stack.absorbs and _opaque(stack, asked):
        wavelengths = wavelengths_of(asked.from_nm, asked.to_nm)
        index = np.full_like(wavelengths, BEHIND_METAL)
    else:
        return None
    found = reflectance(
        indices=stack.at(wavelengths), thicknesses_nm=stack.thicknesses_nm, substrate_index=index, wavelengths_nm=wavelengths,
        angle_deg=asked.angle_deg,
    )  # fmt: skip
    worst, least = int(np.argmax(found)), int(np.argmin(found))
    mean = (found[:-1] + found[1:]).mean() / 2 if len(found) > 1 else found[0]
    return Left(float(mean), float(found[worst]), float(wavelengths[worst]), float(found[least]), float(wavelengths[least]))


def wavelengths_of(from_nm: float, to_nm: float) -> Floats:
    """Wavelengths of a band, evenly apart [nm]; one for a line."""
    return np.linspace(from_nm, to_nm, min(math.ceil((to_nm - from_nm) / STEP_NM), STEPS_OF_A_BAND) + 1)


@lru_cache(maxsize=1024)
def _over_band(from_nm: float, to_nm: float, glass: Dispersion) -> tuple[Floats, Floats]:
    """Wavelengths of a band [nm], and the index of the glass at each."""
    wavelengths = wavelengths_of(from_nm, to_nm)
    return wavelengths, glass.index(wavelengths)


def _opaque(stack: Stack, asked: Asked) -> bool:
    wavelengths = wavelengths_of(asked.from_nm, asked.to_nm)
    found = films(
        indices=stack.at(wavelengths), thicknesses_nm=stack.thicknesses_nm, substrate_index=BEHIND_METAL, wavelengths_nm=wavelengths,
        angles_deg=np.array([asked.angle_deg]),
    )  # fmt: skip
    return bool(found.passed.max() <= HIDES_THE_GLASS)


def _from_table(table: tuple[Tabulated, ...], wavelengths_nm: Floats) -> Complexes:
    at, index, absorption = np.array(table).T
    return np.asarray(np.interp(wavelengths_nm, at, index) + 1j * np.interp(wavelengths_nm, at, absorption))
