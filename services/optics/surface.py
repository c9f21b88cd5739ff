"""The surface of a face: sagitta, slope, reach, the flat seat outside, the profile to any diameter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from services.optics.errors import HeightBeyondFace
from services.optics.law import law
from shared_schemas.prescription import Prescription, Surface

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


@law
def sag_of_conic_mm(*, radius_mm: float, conic: float, height_mm: float) -> float:
    """Sagitta [mm] of a conic of a signed vertex radius [mm] at a height [mm] within its reach.

    Equation: height_mm**2 / radius_mm / (1 + sqrt(1 - (1 + conic) * (height_mm / radius_mm)**2))
    Source: ISO 10110-12 form, from memory; for a sphere derived.
    """
    ratio = height_mm / radius_mm
    return height_mm * ratio / (1 + math.sqrt(max(0.0, 1 - (1 + conic) * ratio * ratio)))


@law
def aspheric_term_mm(*, coefficient: float, order: int, height_mm: float) -> float:
    """What one term of an asphere adds to the sagitta [mm] at a height [mm].

    Equation: coefficient * height_mm**order
    Source: ISO 10110-12 form, from memory.
    """
    return coefficient * height_mm**order


@law
def sag_with_terms_mm(*, sag_of_conic_mm: float, terms_mm: Sequence[float]) -> float:
    """Sagitta [mm] of an asphere out of that of its conic and of its terms.

    Equation: sag_of_conic_mm + sum(terms_mm)
    Source: ISO 10110-12 form, from memory.
    """
    return sag_of_conic_mm + math.fsum(terms_mm)


@law
def slope_of_conic(*, radius_mm: float, conic: float, height_mm: float) -> float:
    """Slope dz/dy of a conic of a signed vertex radius [mm] at a height [mm] within its reach.

    Equation: height_mm / radius_mm / sqrt(1 - (1 + conic) * (height_mm / radius_mm)**2)
    Source: derived from the sagitta.
    """
    ratio = height_mm / radius_mm
    return ratio / math.sqrt(max(LEAST_ROOT, 1 - (1 + conic) * ratio * ratio))


@law
def normal_sine(*, slope: float) -> float:
    """Sine of the angle between the normal of a face and the axis where the face has a slope; y/R on a sphere.

    Equation: slope / sqrt(1 + slope**2)
    Source: derived.
    """
    return slope / math.hypot(1.0, slope)


def conic_sag_mm(*, surface: Surface, height_mm: float) -> float:
    """Sagitta [mm] of a face at a height [mm] without its aspheric terms; positive towards the back.

    Raises `HeightBeyondFace` past the end of the conic.
    """
    if surface.radius_mm is None:
        return 0.0
    ratio = height_mm / surface.radius_mm
    if 1 - (1 + surface.conic) * ratio * ratio < -ROUNDING:
        raise HeightBeyondFace(height_mm, reach_mm(surface=surface))
    return sag_of_conic_mm(radius_mm=surface.radius_mm, conic=surface.conic, height_mm=height_mm)


def aspheric_sag_mm(*, surface: Surface, height_mm: float) -> float:
    """What the even terms add [mm] at a height [mm]: the sum of A_n y^n. Not finite where the terms run away.

    Source: ISO 10110-12 form, from memory.
    """
    return (
        math.fsum(terms)
        if all(
            map(
                math.isfinite,
                terms := [aspheric_term_mm(coefficient=a, order=int(n), height_mm=height_mm) for n, a in surface.asphere.items()],
            )
        )
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
    return slope_of_conic(radius_mm=surface.radius_mm, conic=surface.conic, height_mm=height_mm) + terms


def is_aspheric(*, surface: Surface) -> bool:
    """Whether a face is an asphere: any even term, or a conic constant on a curved face."""
    return any(surface.asphere.values()) or (surface.radius_mm is not None and surface.conic != 0)


def conic_sags_mm(
    *, curvature_per_mm: float | NDArray[np.float64], conic: float | NDArray[np.float64], heights_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Sagittas [mm] of conics of curvatures c = 1/R [1/mm] at many heights [mm], broadcast; past the end of one that of its end.

    Notes: z = c y^2 / (1 + sqrt(1 - (1 + k) c^2 y^2)).
    Source: as `conic_sag_mm`.
    """
    ratio = heights_mm * curvature_per_mm
    z: NDArray[np.float64] = heights_mm * ratio / (1 + np.sqrt(np.maximum(0.0, 1 - (1 + conic) * ratio * ratio)))
    return z


@np.errstate(over="ignore", invalid="ignore")
def sags_mm(*, surface: Surface, heights_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sagittas [mm] at many heights [mm] at once, all terms; at a height past the end of the conic that of its end.

    Source: as `sag_mm`.
    """
    c = 0.0 if surface.radius_mm is None else 1 / surface.radius_mm
    z = conic_sags_mm(curvature_per_mm=c, conic=surface.conic, heights_mm=heights_mm)
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


NEARLY_A_HEMISPHERE = 0.98
"""Share of its reach up to which a face is ground and polished (common practice)."""

NO_DEPARTURE_MM = 1e-6
"""A departure of one nanometre is less than a shop can make or measure on a whole face: what departs by no more is worked, and
counts everywhere, as the sphere or conic without it (common practice)."""

SAMPLES = 9
SAMPLES_OF_AN_ASPHERE = 129
ROUNDS_TO_AN_EXTREME = 4
"""Samples 0.5 mm apart on the largest face lie 2e-6 mm apart after three more rounds, which is past the last digit of a sagitta."""


@dataclass(frozen=True)
class Profile:
    """One face as it is made on a part of a semi-diameter `rim_mm`, told to any height.

    It is curved up to `curved_to_mm` from the axis; from there a flat seat goes on, to the rim and past it. `surface` is what is
    worked: without terms or a conic that depart by nothing that can be made. Aspheric terms hold as far as the part goes; past its
    rim, on the blank, they stay what they are at the rim, as nobody has drawn what they do there. `runaway_mm` is the aspheric
    departure that was left out because the terms run away, 0 for a tame face.
    """

    surface: Surface
    rim_mm: float
    curved_to_mm: float
    runaway_mm: float = 0.0

    @property
    def aspheric(self) -> bool:
        """Whether the face is worked as an asphere."""
        return is_aspheric(surface=self.surface)

    @property
    def needs_seat(self) -> bool:
        """Whether the curve ends before the finished diameter does."""
        return self.curved_to_mm < self.rim_mm

    @property
    def worked_mm(self) -> float:
        """Semi-diameter [mm] of the curve on the finished part."""
        return min(self.rim_mm, self.curved_to_mm)

    def sag_mm(self, height_mm: float) -> float:
        """Sagitta [mm] at a height [mm]; on the seat that of where it begins.

        Notes: z = z_conic(min(y, y_curved)) + sum A_n min(y, y_curved, y_rim)^n.
        """
        height = min(height_mm, self.curved_to_mm)
        z = conic_sag_mm(surface=self.surface, height_mm=height)
        return z + aspheric_sag_mm(surface=self.surface, height_mm=min(height, self.rim_mm)) if self.surface.asphere else z

    def sags_mm(self, heights_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Sagittas [mm] at many heights [mm] at once; as `sag_mm`."""
        heights = np.minimum(heights_mm, self.curved_to_mm)
        if not self.surface.asphere:
            return sags_mm(surface=self.surface, heights_mm=heights)
        within = np.minimum(heights, self.rim_mm)
        bare = self.surface.model_copy(update={"asphere": {}})
        terms = sags_mm(surface=self.surface, heights_mm=within) - sags_mm(surface=bare, heights_mm=within)
        return np.asarray(sags_mm(surface=bare, heights_mm=heights) + terms)

    def sag_range_mm(self, height_mm: float) -> tuple[float, float]:
        """Least and greatest sagitta [mm] between the vertex and a height [mm].

        Notes: a conic has them at vertex and rim; a face with even terms may turn back in between and is sampled.
        Source: derived.
        """
        if not self.surface.asphere:
            rim = self.sag_mm(height_mm)
            return min(0.0, rim), max(0.0, rim)
        return -self._greatest_mm(height_mm, -1), self._greatest_mm(height_mm, 1)

    def _greatest_mm(self, height_mm: float, sign: int) -> float:
        """Greatest of the sagittas, or of their opposites, up to a height [mm]: samples drawn closer around the greatest of them.

        Notes: at the rim, where terms stop growing, the face may have a kink, which is looked at by itself.
        """
        low, high = 0.0, height_mm
        greatest = sign * self.sag_mm(min(self.rim_mm, height_mm))
        for _ in range(ROUNDS_TO_AN_EXTREME):
            heights = np.linspace(low, high, SAMPLES_OF_AN_ASPHERE)
            sags = sign * self.sags_mm(heights)
            at = int(sags.argmax())
            greatest = max(greatest, float(sags[at]))
            if at == 0 or heights[at] == height_mm:
                break
            low, high = float(heights[at - 1]), float(heights[min(at + 1, SAMPLES_OF_AN_ASPHERE - 1)])
        return greatest

    def normal_sine(self, height_mm: float) -> float:
        """Sine of the angle between normal and axis at a height [mm]; y/R for a sphere."""
        return normal_sine(slope=slope(surface=self.surface, height_mm=min(height_mm, self.curved_to_mm)))


def profile(*, surface: Surface, rim_mm: float) -> Profile:
    """The profile of a face whose finished part has a semi-diameter of `rim_mm` [mm].

    Notes: a curve that does not reach the rim ends at the clear diameter, one that does is good for 0.98 of its reach.
    Unequal clear diameters are therefore a seat, not an error. Aspheric terms that depart from the conic by more than the
    semi-diameter, or by no finite figure, are left out and told in `runaway_mm`.
    Source: common practice.
    """
    surface = as_worked(surface=surface, rim_mm=rim_mm)
    departure = _terms_depart_by_mm(surface=surface, rim_mm=rim_mm)
    runaway = departure if departure > rim_mm else 0.0
    if runaway:
        surface = surface.model_copy(update={"asphere": {}})
    return Profile(surface, rim_mm, curved_to_mm(surface=surface, rim_mm=rim_mm), runaway)


def curved_to_mm(*, surface: Surface, rim_mm: float) -> float:
    """Height [mm] at which the curve of a face ends on a part of a semi-diameter [mm]: the clear one where the rim is out of reach.

    Notes: clear diameter / 2 for a rim at or past 0.98 of the reach, else 0.98 of the reach.
    Source: common practice.
    """
    good_to = NEARLY_A_HEMISPHERE * reach_mm(surface=surface)
    return surface.clear_diameter_mm / 2 if rim_mm >= good_to else good_to


def as_worked(*, surface: Surface, rim_mm: float) -> Surface:
    """The face without terms, or without a conic constant, that depart by nothing that can be made; the same object where none do.

    Notes: what departs by at most `NO_DEPARTURE_MM` anywhere up to the rim [mm] is left out. A sphere written as a conic of 1e-12, or
    with a fourth-order term of 1e-12, is so the same face to every room.
    """
    changes: dict[str, object] = {}
    if not all(surface.asphere.values()):
        changes["asphere"] = {order: term for order, term in surface.asphere.items() if term}
    if surface.asphere and _terms_depart_by_mm(surface=surface, rim_mm=rim_mm) <= NO_DEPARTURE_MM:
        changes["asphere"] = {}
    if surface.conic and _conic_departs_by_mm(surface=surface, rim_mm=rim_mm) <= NO_DEPARTURE_MM:
        changes["conic"] = 0.0
    return surface.model_copy(update=changes) if changes else surface


def lens_as_worked(prescription: Prescription) -> Prescription:
    """The prescription with every face as it is worked; the same object where that changes nothing."""
    elements = tuple(
        element if front is element.front and back is element.back else element.model_copy(update={"front": front, "back": back})
        for element in prescription.elements
        for front, back in [tuple(as_worked(surface=one, rim_mm=element.diameter_mm / 2) for one in (element.front, element.back))]
    )
    if all(one is other for one, other in zip(elements, prescription.elements, strict=True)):
        return prescription
    return prescription.model_copy(update={"elements": elements})


def _terms_depart_by_mm(*, surface: Surface, rim_mm: float) -> float:
    """The most that the aspheric terms add or take [mm] anywhere up to the rim."""
    if not surface.asphere:
        return 0.0
    return max(abs(aspheric_sag_mm(surface=surface, height_mm=rim_mm * i / SAMPLES)) for i in range(1, SAMPLES + 1))


def _conic_departs_by_mm(*, surface: Surface, rim_mm: float) -> float:
    """How far a conic stands from the sphere of its vertex radius [mm] at the rim, or where the curve of the sphere ends before it."""
    if surface.radius_mm is None:
        return 0.0
    sphere = surface.model_copy(update={"conic": 0.0})
    height = min(rim_mm, curved_to_mm(surface=sphere, rim_mm=rim_mm), reach_mm(surface=surface))
    return abs(conic_sag_mm(surface=surface, height_mm=height) - conic_sag_mm(surface=sphere, height_mm=height))
