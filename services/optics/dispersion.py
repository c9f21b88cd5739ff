"""Refractive index of a glass at a wavelength, or over a band of wavelengths."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from services.optics.errors import WavelengthOutsideRange
from services.optics.law import law
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import GlassRow

Floats = NDArray[np.float64]
Wavelength = TypeVar("Wavelength", float, Floats)

D_LINE_NM = 587.5618
F_LINE_NM = 486.1327
C_LINE_NM = 656.2725
"""Helium d, hydrogen F and C. From memory."""

SHORTEST_NM = 365.0
LONGEST_NM = 2325.42
"""Mercury i line and the longest line of makers' tables: between them they state indices. From memory."""

NEAR_ENOUGH_FOR_FILMS_NM = (400.0, 1000.0)
"""Where the two terms from n_d and v_d are near enough for films: over 257 glasses they err by 0.0015 in the median and by
0.021 at the most, the densest flint at its violet end."""

SAME_LINE_NM = 0.005
AWAY_FROM_RESONANCE = 1.1


@dataclass(frozen=True)
class Sellmeier:
    """The terms of B [-] and C [um^2] of a material, and what stands before their sum [-]: 1, but for some fits."""

    b: tuple[float, float, float]
    c_um2: tuple[float, float, float]
    constant: float = 1.0

    def index(self, wavelength_nm: Wavelength) -> Wavelength:
        """Index at a wavelength [nm], or at each of an array."""
        b, c = self.b, self.c_um2
        return index_by_sellmeier(
            b1=b[0], b2=b[1], b3=b[2], c1_um2=c[0], c2_um2=c[1], c3_um2=c[2], constant=self.constant, wavelength_nm=wavelength_nm
        )


@dataclass(frozen=True)
class Poles:
    """The same terms of a fit that divides B [um^2] by L^2 - C and has no L^2 above the line."""

    b_um2: tuple[float, float, float]
    c_um2: tuple[float, float, float]
    constant: float

    def index(self, wavelength_nm: Wavelength) -> Wavelength:
        """Index at a wavelength [nm], or at each of an array."""
        b, c = self.b_um2, self.c_um2
        return index_by_poles(
            b1_um2=b[0], b2_um2=b[1], b3_um2=b[2], c1_um2=c[0], c2_um2=c[1], c3_um2=c[2], constant=self.constant,
            wavelength_nm=wavelength_nm,
        )  # fmt: skip


def formula_of(row: GlassRow) -> Sellmeier | Poles | None:
    """The dispersion formula of a row; `None` where one of its six columns is empty."""
    b = (row.sellmeier_b1, row.sellmeier_b2, row.sellmeier_b3)
    c = (row.sellmeier_c1_um2, row.sellmeier_c2_um2, row.sellmeier_c3_um2)
    if None in (*b, *c):
        return None
    form = Sellmeier if row.dispersion_form == "sellmeier" else Poles
    return form(b, c, row.dispersion_constant)  # type: ignore[arg-type]  # no None in them, as was just seen


@law
def index_by_sellmeier(
    *,
    b1: float,
    b2: float,
    b3: float,
    c1_um2: float,
    c2_um2: float,
    c3_um2: float,
    constant: float = 1.0,
    wavelength_nm: Wavelength,
) -> Wavelength:
    """Index at a wavelength [nm], or at each of an array, by terms of B [-] and C [um^2]: n^2 = constant + sum B L^2 / (L^2 - C).

    Equation: sqrt(constant + b1 / (1 - c1_um2 / (wavelength_nm / 1000)**2) + b2 / (1 - c2_um2 / (wavelength_nm / 1000)**2)
        + b3 / (1 - c3_um2 / (wavelength_nm / 1000)**2))
    Source: the form that makers' data sheets state, with a constant of 1; infrared glasses have another. L in um, in air.
    """
    square = (wavelength_nm / 1000) ** 2
    terms = b1 * square / (square - c1_um2) + b2 * square / (square - c2_um2) + b3 * square / (square - c3_um2)
    index: Wavelength = (constant + terms) ** 0.5
    return index


@law
def index_by_poles(
    *,
    b1_um2: float,
    b2_um2: float,
    b3_um2: float,
    c1_um2: float,
    c2_um2: float,
    c3_um2: float,
    constant: float,
    wavelength_nm: Wavelength,
) -> Wavelength:
    """Index at a wavelength [nm], or at each of an array, by poles: n^2 = constant + sum B / (L^2 - C), B and C in um^2.

    Equation: sqrt(constant + b1_um2 / ((wavelength_nm / 1000)**2 - c1_um2) + b2_um2 / ((wavelength_nm / 1000)**2 - c2_um2)
        + b3_um2 / ((wavelength_nm / 1000)**2 - c3_um2))
    Source: M. Debenham, Appl. Opt. 23, 2238 (1984), as fitted by C. A. Klein, Appl. Opt. 25, 1873 (1986); L in um.
    """
    square = (wavelength_nm / 1000) ** 2
    terms = b1_um2 / (square - c1_um2) + b2_um2 / (square - c2_um2) + b3_um2 / (square - c3_um2)
    index: Wavelength = (constant + terms) ** 0.5
    return index


@law
def cauchy_index(*, nd: float, vd: float, wavelength_nm: Wavelength) -> Wavelength:
    """Index at a wavelength [nm], or at each of an array, from index and Abbe number alone.

    Equation: nd + (nd - 1) / vd / (486.1327**-2 - 656.2725**-2) * (wavelength_nm**-2 - 587.5618**-2)
    Notes: Cauchy's n = A + B / L^2 through n_d with n_F - n_C = (n_d - 1) / v_d; errs by some 1e-4 at F and C, more beyond.
    Source: derived.
    """
    b = (nd - 1) / vd / (F_LINE_NM**-2 - C_LINE_NM**-2)
    index: Wavelength = nd + b * (wavelength_nm**-2.0 - D_LINE_NM**-2)
    return index


def range_of(row: GlassRow) -> tuple[float, float]:
    """Shortest and longest wavelength [nm] at which the formula of a row may be used.

    Notes: as the row states, else 365 to 2325.42 nm, narrowed to the stretch around the d line, or around the middle of the
    range where that lies outside, that no resonance sqrt(C) of the formula comes within a tenth of. For a row without a formula F to C.
    """
    formula = formula_of(row)
    if formula is None:
        return F_LINE_NM, C_LINE_NM
    if row.index_from_um is None or row.index_to_um is None:
        first, last = SHORTEST_NM, LONGEST_NM
    else:
        first, last = 1000 * row.index_from_um, 1000 * row.index_to_um
    middle = D_LINE_NM if first <= D_LINE_NM <= last else math.sqrt(first * last)
    strengths = formula.b if isinstance(formula, Sellmeier) else formula.b_um2
    poles = [1000 * math.sqrt(c) for b, c in zip(strengths, formula.c_um2, strict=True) if b != 0 and c > 0]
    shortest = max([first, *(pole * AWAY_FROM_RESONANCE for pole in poles if pole <= middle)])
    longest = min([last, *(pole / AWAY_FROM_RESONANCE for pole in poles if pole > middle)])
    return shortest, longest


def glass_index(*, row: GlassRow, wavelength_nm: float) -> float:
    """Index of a catalogue glass at a wavelength [nm].

    At the d line it is the n_d that is stated, if one is; elsewhere the dispersion formula inside its range, or, for a row
    without one, what n_d and v_d give between F and C. Raises `WavelengthOutsideRange`.
    """
    if abs(wavelength_nm - D_LINE_NM) <= SAME_LINE_NM and row.nd is not None:
        return row.nd
    formula = formula_of(row)
    if formula is None:
        nd, vd = stated_dispersion(row)
        return index_from_abbe(name=row.name, nd=nd, vd=vd, wavelength_nm=wavelength_nm)
    shortest, longest = range_of(row)
    if not shortest <= wavelength_nm <= longest:
        raise WavelengthOutsideRange(row.name, wavelength_nm, shortest, longest)
    return formula.index(wavelength_nm)


def stated_dispersion(row: GlassRow) -> tuple[float, float]:
    """Index n_d and Abbe number v_d of a row without a dispersion formula, which has both. Raises `FigureOutOfRange` for any other."""
    if row.nd is None or row.vd is None:
        raise FigureOutOfRange(f"nd or vd of {row.name}", 0, "a row with both, or with a dispersion formula")
    return row.nd, row.vd


def transmits(row: GlassRow, wavelength_nm: float) -> bool:
    """Whether a material lets a wavelength [nm] through; so it is taken to be where its row does not say."""
    return (row.transmits_from_um is None or wavelength_nm >= 1000 * row.transmits_from_um) and (
        row.transmits_to_um is None or wavelength_nm <= 1000 * row.transmits_to_um
    )


def index_from_abbe(*, name: str, nd: float, vd: float, wavelength_nm: float) -> float:
    """Index at a wavelength [nm] between the F and the C line, from index and Abbe number alone.

    Raises `WavelengthOutsideRange` outside F to C, the d line aside.
    """
    if abs(wavelength_nm - D_LINE_NM) <= SAME_LINE_NM:
        return nd
    if not F_LINE_NM <= wavelength_nm <= C_LINE_NM:
        raise WavelengthOutsideRange(name, wavelength_nm, F_LINE_NM, C_LINE_NM)
    return cauchy_index(nd=nd, vd=vd, wavelength_nm=wavelength_nm)


@dataclass(frozen=True)
class Dispersion:
    """The dispersion of a glass over a band, as films want it: its formula where its row has one, otherwise index and Abbe number."""

    row: GlassRow

    @property
    def fitted(self) -> bool:
        """Whether the index is only fitted to index and Abbe number."""
        return formula_of(self.row) is None

    @property
    def range_nm(self) -> tuple[float, float]:
        """Shortest and longest wavelength at which an index is stated [nm]."""
        return NEAR_ENOUGH_FOR_FILMS_NM if self.fitted else range_of(self.row)

    def covers(self, from_nm: float, to_nm: float) -> bool:
        """Whether an index is stated over the whole band [nm]."""
        shortest, longest = self.range_nm
        return shortest <= from_nm and to_nm <= longest

    def index(self, wavelengths_nm: Floats) -> Floats:
        """Index at each wavelength [nm], same shape; raises `WavelengthOutsideRange`.

        Notes: a bare face follows by dR = 4 (n - 1)/(n + 1)^3 dn, some 0.15 dn: at most 0.003 for a fitted index.
        """
        shortest, longest = self.range_nm
        for wavelength in (float(wavelengths_nm.min()), float(wavelengths_nm.max())):
            if not shortest <= wavelength <= longest:
                raise WavelengthOutsideRange(self.row.name, wavelength, shortest, longest)
        formula = formula_of(self.row)
        if formula is None:
            nd, vd = stated_dispersion(self.row)
            return cauchy_index(nd=nd, vd=vd, wavelength_nm=wavelengths_nm)
        return formula.index(wavelengths_nm)
