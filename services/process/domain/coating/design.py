"""A stack designed to a demand that no coating of the rates meets: the shop's own films in other thicknesses, to be tried first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import least_squares

from services.optics.dispersion import Dispersion
from services.optics.thin_film import Floats, reflectances_of_stacks
from services.process.domain.coating.promise import Asked, Left, Stack, left_on
from services.process.domain.coating.run import DesignedRow, deposition_min
from shared_schemas.rates import CoatingLayer, CoatingRow

Starts = tuple[float, ...]

STARTS: tuple[Starts, ...] = (
    (0.25,),
    (0.33, 0.06),
    (0.25, 0.50, 0.25),
    (0.25, 0.50, 0.09, 0.06),
    (0.253, 0.177, 0.028, 0.253, 0.083, 0.063),
    (0.235, 0.078, 0.080, 0.114, 0.080, 0.056),
)
"""Optical thickness of each layer that a design starts from, in wavelengths of the middle of the band: one layer, then more.

Quarter wave, V, quarter-half-quarter and their usual successors: H. A. Macleod, Thin-Film Optical Filters, ch. 3, from memory; the six
layers, for a band of less than an octave and of more, are common practice.
"""

WAVELENGTHS = 21
"""Wavelengths of a band at which a design is improved; what it promises is worked out at all of them."""

TRIES = 24
"""Times that a design of one number of layers is improved: some 0.03 s, the same on every machine."""

THICKEST_WAVES = 0.55
"""Optical thickness that no layer goes beyond, in wavelengths of the middle of the band."""

THINNEST_NM = 2.0
"""A layer thinner than this is no even film any more, and is left out (common practice)."""

NUDGE_NM = 0.01
"""Step for the slope of the reflectance by a thickness: a hundredth of what a quartz monitor resolves."""


@dataclass(frozen=True)
class Film:
    """A material as the shop lays it down: index, rate of deposition, and from where to where it is clear [nm]."""

    material: str
    index: float
    rate_nm_per_s: float
    range_nm: tuple[float, float]

    def layer(self, thickness_nm: float) -> CoatingLayer:
        """A layer of it."""
        return CoatingLayer(
            material=self.material, index=self.index, thickness_nm=thickness_nm, rate_nm_per_s=self.rate_nm_per_s, clear_nm=self.range_nm
        )  # fmt: skip


@dataclass(frozen=True)
class Design:
    """Layers, outermost first, what they leave on the glass, and the minutes that the shop plans for them at the least."""

    films: tuple[Film, ...]
    thicknesses_nm: tuple[float, ...]
    left: Left

    @property
    def layers(self) -> tuple[CoatingLayer, ...]:
        """The layers as a row has them."""
        return tuple(film.layer(thickness) for film, thickness in zip(self.films, self.thicknesses_nm, strict=True))

    @property
    def words(self) -> str:
        """Its layers in words, from the air to the glass."""
        return ", ".join(
            f"{film.material} {thickness:.1f} nm" for film, thickness in zip(self.films, self.thicknesses_nm, strict=True)
        )


def films_of(rows: Sequence[CoatingRow], asked: Asked) -> tuple[Film, ...]:
    """The clear films of coatings that are known over a band, by rising index; of one material the slowest rate."""
    films: dict[tuple[str, float], Film] = {}
    for layer in (layer for row in rows for layer in row.layers if not layer.tabulated and not layer.extinction):
        shortest, longest = layer.range_nm
        if shortest <= asked.from_nm and asked.to_nm <= longest:
            known = films.get((layer.material, layer.index))
            rate = layer.rate_nm_per_s if known is None else min(layer.rate_nm_per_s, known.rate_nm_per_s)
            films[layer.material, layer.index] = Film(layer.material, layer.index, rate, layer.clear_nm or (1.0, 1e6))
    return tuple(sorted(films.values(), key=lambda film: (film.index, film.material)))


@lru_cache(maxsize=512)
def design_of(start: Starts, films: tuple[Film, ...], asked: Asked, glass: Dispersion) -> Design | None:
    """The design of so many layers as its start has that leaves least at its worst wavelength; None where there are no films for it.

    Notes:
        Least squares of the squared reflectance at wavelengths over the band, which weighs the worst most, from a fixed start and
        with a fixed number of tries: the same question has the same answer.
    """
    chosen = _films_for(len(start), films, glass, asked)
    if chosen is None or not glass.covers(asked.from_nm, asked.to_nm):
        return None
    wavelengths = np.linspace(asked.from_nm, asked.to_nm, WAVELENGTHS if asked.to_nm > asked.from_nm else 1)
    thicknesses = _improved(chosen, start, wavelengths, glass.index(wavelengths), asked.angle_deg)
    kept = [(film, round(float(t), 1)) for film, t in zip(chosen, thicknesses, strict=True) if t >= THINNEST_NM]
    if not kept:
        return None
    layers, measures = tuple(film for film, _ in kept), tuple(t for _, t in kept)
    stack = Stack(tuple(complex(film.index) for film in layers), measures, ((),) * len(layers))
    left = left_on(stack, asked, glass)
    return None if left is None else Design(layers, measures, left)


def _films_for(count: int, films: tuple[Film, ...], glass: Dispersion, asked: Asked) -> tuple[Film, ...] | None:
    """Lowest and highest index in turn from the air on; one layer, and the last of three, of what suits the glass best."""
    if not films:
        return None
    middle = (
        float(glass.index(np.array([(asked.from_nm + asked.to_nm) / 2]))[0]) if glass.covers(asked.from_nm, asked.to_nm) else 1.0
    )
    low, high = films[0], films[-1]
    if count == 1:
        return (min(films, key=lambda film: abs(film.index**2 - middle)),)
    if high.index <= low.index:
        return None
    if count == 3:
        return low, high, min(films, key=lambda film: abs(film.index**2 - low.index**2 * middle))
    return (low, high) * (count // 2)


def _improved(films: Sequence[Film], start: Starts, wavelengths: Floats, substrate: Floats, angle_deg: float) -> Floats:
    indices = [film.index for film in films]
    middle = 2 / (1 / wavelengths[0] + 1 / wavelengths[-1])
    thickest = THICKEST_WAVES * middle / np.array(indices)

    def squares(stacks: Floats) -> Floats:
        found = reflectances_of_stacks(
            indices=indices, thicknesses_nm=stacks, substrate_index=substrate, wavelengths_nm=wavelengths, angle_deg=angle_deg
        )
        return np.asarray((100 * found) ** 2)

    def slopes(thicknesses: Floats) -> Floats:
        stacks = np.vstack([thicknesses, thicknesses + NUDGE_NM * np.eye(len(films))])
        found = squares(stacks)
        return np.asarray(((found[1:] - found[0]) / NUDGE_NM).T)

    solved = least_squares(
        lambda thicknesses: squares(thicknesses[np.newaxis, :])[0], np.array(start) * middle / np.array(indices), slopes,
        bounds=(0.0, thickest), x_scale=thickest, max_nfev=TRIES,
    )  # fmt: skip
    return np.asarray(solved.x)


def row_of(design: Design, asked: Asked, *, glass_name: str, run_of: CoatingRow, least_layers_min: float) -> DesignedRow:
    """A design as a coating of the shop, coated in the run of a row that it has.

    Args:
        run_of: the dearest coating of the shop that could be taken: a stack that nobody has coated is planned with no less.
        least_layers_min: minutes for its layers at the least: those of `run_of`, or of a design of fewer layers [min].
    """
    band = f"{asked.from_nm:g}-{asked.to_nm:g} nm" + (f" {asked.angle_deg:g} deg" if asked.angle_deg else "")
    name = f"{len(design.layers)}-layer design {100 * design.left.worst:.3g} %, {band}"
    parts = {column: getattr(run_of, column) for column in type(run_of).model_fields if column not in OWN_COLUMNS}
    return DesignedRow(
        **parts, name=f"{name}, {glass_name}"[:60], layers=design.layers, design_wavelength_nm=(asked.from_nm + asked.to_nm) / 2,
        band_from_nm=asked.from_nm, band_to_nm=asked.to_nm, one_glass=True, run_of=run_of,
        least_layers_min=max(least_layers_min, deposition_min(run_of)),
    )  # fmt: skip


OWN_COLUMNS = frozenset(
    {
        "name", "layers", "design_wavelength_nm", "band_from_nm", "band_to_nm", "one_glass", "promised_reflectance",
        "promised_mirror_reflectance",
    }
)  # fmt: skip
"""Columns of a coating that a design has of its own; the others are those of the row whose run it takes."""
