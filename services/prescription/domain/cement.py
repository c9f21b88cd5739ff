"""A cemented pair: do its faces fit, does its film hold when it gets warm or cold, is a coating asked for where cement is?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from services.optics.body import Body
from services.optics.fringes import fringes_of_sag
from services.optics.law import law
from services.prescription.domain.materials import Material
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Element

MOST_FRINGES = 5.0
"""Fringe spacings by which cemented faces usually match at most (common practice, from memory: 3 to 5)."""

THICKEST_FILM_MM = 0.015
FILM_MM = 0.010
"""Films of hard optical cement are 5 to 15 um thick (common practice, from memory)."""

TEMPERATURE_RANGE_K = 80.0

SOFT_CEMENT_1E6_PER_K = 2.0
COMPLIANT_1E6_PER_K = 4.0
SMALL_ENOUGH_MM = 25.0
"""Differences of expansion above which a pair takes a softer cement unless it is small, and a compliant one or air
(common practice, from memory)."""


@dataclass(frozen=True)
class Fit:
    """How two cemented faces fit: back of the first less front of the second [mm] at a height [mm], and in fringe spacings."""

    apart_mm: float
    height_mm: float
    fringes: float


@dataclass(frozen=True)
class Strain:
    """What a change of temperature does to a film: shift of one glass on the other at the rim [um], and shear strain."""

    difference_1e6_per_k: float
    shift_um: float
    shear_strain: float


def fit(*, before: Body, behind: Body) -> Fit:
    """Fit of two cemented faces at the larger of their clear diameters.

    Source: derived; fringe spacings as in ISO 10110-5, from memory.
    """
    clear = max(before.back.surface.clear_diameter_mm, behind.front.surface.clear_diameter_mm) / 2
    height = min(clear, before.rim_mm, behind.rim_mm)
    apart = before.back.sag_mm(height) - behind.front.sag_mm(height)
    return Fit(apart, height, fringes_of_sag(sag_error_mm=apart))


def film_strain(
    *,
    expansion_difference_1e6_per_k: float,
    diameter_mm: float,
    temperature_change_k: float = TEMPERATURE_RANGE_K,
    film_mm: float = FILM_MM,
) -> Strain:
    """Shift and shear strain of a film of cement [mm] between glasses of unlike expansion [1e-6/K] over a diameter [mm].

    Notes: u = d_alpha dT D/2, gamma = u / t; the glasses taken to be free, so a screen and not a stress.
    Source: derived.
    """
    difference = abs(expansion_difference_1e6_per_k)
    shift = film_shift_um(difference_1e6_per_k=difference, temperature_change_k=temperature_change_k, diameter_mm=diameter_mm)
    return Strain(difference, shift, film_shear_strain(film_shift_um=shift, film_mm=film_mm))


@law
def film_shift_um(*, difference_1e6_per_k: float, temperature_change_k: float, diameter_mm: float) -> float:
    """How far two glasses of unlike expansion [1e-6/K] shift on each other at the rim [um].

    Equation: difference_1e6_per_k * temperature_change_k * diameter_mm / 2 / 1000
    Source: derived; the glasses taken to be free.
    """
    return difference_1e6_per_k * temperature_change_k * diameter_mm / 2 / 1000


@law
def film_shear_strain(*, film_shift_um: float, film_mm: float) -> float:
    """Shear strain of a film of cement [mm] whose glasses shift [um].

    Equation: film_shift_um / 1000 / film_mm
    Source: derived.
    """
    return film_shift_um / 1000 / film_mm


@law
def expansion_difference_1e6_per_k(*, one_1e6_per_k: float, other_1e6_per_k: float) -> float:
    """Difference of the expansion of two glasses [1e-6/K].

    Equation: abs(one_1e6_per_k - other_1e6_per_k)
    Source: definition.
    """
    return abs(one_1e6_per_k - other_1e6_per_k)


def strain_of(*, first: Material, second: Material, diameter_mm: float) -> Strain | None:
    """Strain of the film of a pair; `None` where the expansion of a glass is not known."""
    if first.row is None or second.row is None:
        return None
    one, other = first.row.cte_30_70_1e6_per_k, second.row.cte_30_70_1e6_per_k
    return (
        None
        if one is None or other is None
        else film_strain(
            expansion_difference_1e6_per_k=expansion_difference_1e6_per_k(one_1e6_per_k=one, other_1e6_per_k=other),
            diameter_mm=diameter_mm,
        )
    )


def cement_findings(*, first: Element, second: Element, number: int, fit: Fit, strain: Strain | None) -> Iterator[Finding]:
    """What there is to say of the cement between element `number`, counted from 0, and the next."""
    yield from _coated(first, second, number)
    yield from _fits(first, second, number, fit)
    if strain is not None:
        yield from _strained(first, second, number, strain)


def _coated(first: Element, second: Element, number: int) -> Iterator[Finding]:
    for at, side, element, surface in ((number, "back", first, first.back), (number + 1, "front", second, second.front)):
        if surface.coating is not None:
            yield finding(
                "cement-coated", f"/elements/{at}/{side}/coating",
                f"The {side} of {element.name} is cemented and asks for the coating {surface.coating}, which would work against air.",
                figure=str(surface.coating), limit="no coating on a cemented face", remedy="null on both cemented faces",
            )  # fmt: skip


def _fits(first: Element, second: Element, number: int, fit: Fit) -> Iterator[Finding]:
    if fit.fringes <= MOST_FRINGES:
        return
    one, other = ("plano" if radius is None else f"{radius:g} mm" for radius in (first.back.radius_mm, second.front.radius_mm))
    touch = "at the rim" if fit.apart_mm > 0 else "at the centre"
    where, names = f"/elements/{number + 1}/front/radius_mm", f"{first.name} ({one}) and {second.name} ({other})"
    repair = f"the same radius on both, {one} or {other}"
    if abs(fit.apart_mm) > THICKEST_FILM_MM:
        yield finding(
            "cement-radii-far", where,
            f"The cemented faces of {names} touch {touch} and stand {abs(fit.apart_mm):.3g} mm apart {'at the centre' if fit.apart_mm > 0 else 'at the rim'}; a film of cement is at most {THICKEST_FILM_MM:g} mm.",
            figure=abs(fit.apart_mm), limit=THICKEST_FILM_MM, unit="mm", remedy=repair,
        )  # fmt: skip
    else:
        yield finding(
            "cement-radii-differ", where,
            f"The cemented faces of {names} differ by {fit.fringes:.4g} fringe spacings at {fit.height_mm:g} mm; they touch {touch}.",
            figure=fit.fringes, limit=MOST_FRINGES, unit="fringe spacings", remedy=repair,
        )  # fmt: skip


def _strained(first: Element, second: Element, number: int, strain: Strain) -> Iterator[Finding]:
    difference, diameter = strain.difference_1e6_per_k, min(first.diameter_mm, second.diameter_mm)
    said = (
        f"The glasses of {first.name} and {second.name} differ by {difference:.3g}e-6/K in expansion: over {TEMPERATURE_RANGE_K:g} K they shift by "
        f"{strain.shift_um:.3g} um at the rim and shear a film of {1000 * FILM_MM:g} um by {strain.shear_strain:.2g}."
    )
    if difference > COMPLIANT_1E6_PER_K:
        yield finding(
            "cement-strain-high", f"/spaces/{number}/cemented", said, figure=difference, limit=COMPLIANT_1E6_PER_K, unit="1e-6/K",
            remedy="a compliant cement, an air space, or oil",
        )  # fmt: skip
    elif difference > SOFT_CEMENT_1E6_PER_K and diameter > SMALL_ENOUGH_MM:
        yield finding(
            "cement-strain", f"/spaces/{number}/cemented", said, figure=difference, limit=SOFT_CEMENT_1E6_PER_K, unit="1e-6/K",
            remedy=f"a softer cement, or a diameter of at most {SMALL_ENOUGH_MM:g} mm",
        )  # fmt: skip
