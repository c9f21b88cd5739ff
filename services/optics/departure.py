"""How far an aspheric face departs from a sphere, and how steeply: what it takes to grind, polish and test it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from services.optics.law import law
from services.optics.surface import conic_sags_mm, sags_mm, slopes
from shared_schemas.prescription import Surface
from shared_schemas.problem import FigureOutOfRange

POINTS = 41
CANDIDATES = 33
ROUNDS = 3


@dataclass(frozen=True)
class Departure:
    """The best-fit sphere [mm] (`None` a plane), the departure peak to valley [um] and the greatest slope of it [mrad]."""

    best_fit_radius_mm: float | None
    peak_to_valley_um: float
    slope_mrad: float


def aspheric_departure(*, surface: Surface, semi_diameter_mm: float) -> Departure | None:
    """Departure of a face from its best-fit sphere within a semi-diameter [mm]; `None` where it leaves all bounds.

    Notes: along the axis, from the sphere through the vertex whose departure is least peak to valley. A term y^4 leaves
    Y^4/4 of it, at Y/sqrt(2), by a sphere that meets the face at vertex and rim; so a paraboloid departs by Y^4/(32 R^3).
    Higher terms are met by a search of the curvature between those of the chords, to 1/4000 of their range.
    Source: derived.
    """
    heights = np.linspace(0.0, semi_diameter_mm, POINTS)
    with np.errstate(all="ignore"):
        z = sags_mm(surface=surface, heights_mm=heights)
        chords = 2 * z[1:] / (heights[1:] ** 2 + z[1:] ** 2)
        if not np.isfinite(chords).all():
            return None
        curvature = _best_curvature(z, heights, chords)
        departure = z - _sphere(curvature, heights)[0]
        root = np.sqrt(np.maximum(1e-12, 1 - (curvature * heights) ** 2))
        steepest = np.abs(slopes(surface=surface, heights_mm=heights) - curvature * heights / root).max()
        figures = (1000 * float(np.ptp(departure)), 1000 * float(steepest))
        radius = 1 / curvature if curvature else np.inf
    if not np.isfinite(figures).all():
        return None
    return Departure(float(radius) if np.isfinite(radius) else None, *figures)


def _best_curvature(z: NDArray[np.float64], heights: NDArray[np.float64], chords: NDArray[np.float64]) -> float:
    """The curvature [1/mm] of least departure peak to valley; a sphere must reach the last height."""
    most = 1 / heights[-1]
    low, high = (float(np.clip(end, -most, most)) for end in (chords.min(), chords.max()))
    best = float(np.clip(chords[-1], -most, most))
    least = float(np.ptp(z - _sphere(best, heights)[0]))
    for _ in range(ROUNDS):
        tried = np.linspace(low, high, CANDIDATES)
        misses = np.ptp(z - _sphere(tried, heights), axis=1)
        at = int(np.argmin(misses))
        if misses[at] < least:
            best, least = float(tried[at]), float(misses[at])
        low, high = float(tried[max(0, at - 1)]), float(tried[min(CANDIDATES - 1, at + 1)])
    return best


def _sphere(curvature_per_mm: float | NDArray[np.float64], heights_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sagittas [mm] of spheres (candidates, heights)."""
    return conic_sags_mm(curvature_per_mm=np.atleast_1d(curvature_per_mm)[:, None], conic=0.0, heights_mm=heights_mm)


SAMPLES = 401


@dataclass(frozen=True)
class FromReference:
    """An aspheric face against its reference sphere, which goes through vertex and edge.

    Its radius [mm] (`None` a plane), the greatest departure [um], the greatest slope of the departure [mrad], the glass between a
    face ground to the reference sphere and the asphere [mm3], and how steep the face gets [deg].
    """

    radius_mm: float | None
    departure_um: float
    slope_mrad: float
    removal_mm3: float
    steepest_deg: float


def from_reference_sphere(*, surface: Surface, semi_diameter_mm: float, glass_behind: bool) -> FromReference:
    """A face against the sphere through its vertex and its edge at a semi-diameter [mm].

    Args:
        glass_behind: whether the glass lies behind the face, as it does at the front of a lens.

    Notes: the sphere is set off until it leaves glass on the asphere everywhere; the removal is 2 pi times the integral of what lies
    between times the height, by the trapezoidal rule. Turned round, a face is the same work.
    Source: reference sphere through vertex and edge: https://www.castech.com/news_detail/25.html; the rest derived.

    Raises: FigureOutOfRange where the face leaves all bounds within the semi-diameter.
    """
    heights = np.linspace(0.0, semi_diameter_mm, SAMPLES)
    with np.errstate(all="ignore"):
        z = sags_mm(surface=surface, heights_mm=heights)
        curvature = reference_curvature_per_mm(edge_sag_mm=float(z[-1]), semi_diameter_mm=semi_diameter_mm)
        departure = z - _sphere(curvature, heights)[0]
        steep = slopes(surface=surface, heights_mm=heights)
        of_sphere = curvature * heights / np.sqrt(np.maximum(1e-12, 1 - (curvature * heights) ** 2))
    if not (np.isfinite(departure).all() and np.isfinite(steep).all()):
        raise FigureOutOfRange("semi-diameter of the asphere [mm]", semi_diameter_mm, "where its sagitta is a number")
    left = departure - departure.min() if glass_behind else departure.max() - departure
    return FromReference(
        radius_mm=1 / curvature if curvature else None,
        departure_um=1000 * float(np.abs(departure).max()),
        slope_mrad=1000 * float(np.abs(steep - of_sphere).max()),
        removal_mm3=2 * np.pi * float(np.trapezoid(left * heights, heights)),
        steepest_deg=float(np.degrees(np.arctan(np.abs(steep).max()))),
    )


@law
def reference_curvature_per_mm(*, edge_sag_mm: float, semi_diameter_mm: float) -> float:
    """Curvature [1/mm] of the sphere through the vertex and the edge of a face; 0 where both lie in a plane.

    Equation: 2 * edge_sag_mm / (semi_diameter_mm ** 2 + edge_sag_mm ** 2)
    Source: derived
    """
    return 2 * edge_sag_mm / (semi_diameter_mm**2 + edge_sag_mm**2)


@law
def fringes_per_mm(*, slope_mrad: float, wavelength_nm: float) -> float:
    """Fringes in a millimetre of an interferogram against a sphere, where the face departs from it at a slope [mrad].

    Equation: slope_mrad / (wavelength_nm / 2000)
    Source: derived: a fringe is half a wavelength of height
    """
    return slope_mrad / (wavelength_nm / 2000)


@law
def form_error_um(*, irregularity_fringes: float, wavelength_nm: float) -> float:
    """Peak to valley [um] of an irregularity in fringe spacings, of half a wavelength each.

    Equation: irregularity_fringes * wavelength_nm / 2000
    Source: ISO 10110-5, from memory
    """
    return irregularity_fringes * wavelength_nm / 2000
