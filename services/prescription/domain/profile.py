"""The profile of a face as it is made: curved as far as it goes, and a flat seat from there to the rim."""

from __future__ import annotations

import math
from dataclasses import dataclass

from services.prescription.domain.sag import aspheric_sag_mm, reach_mm, sag_mm, slope
from shared_schemas.prescription import Element, Surface

NEARLY_A_HEMISPHERE = 0.98
"""Share of its reach up to which a face is ground and polished (common practice)."""

SAMPLES = 9


@dataclass(frozen=True)
class Profile:
    """One face as it is made. It is curved up to `curved_to_mm` from the axis; beyond, a flat seat goes on.

    `runaway_mm` is the aspheric departure that was left out because the terms run away, 0 for a tame face.
    """

    surface: Surface
    rim_mm: float
    curved_to_mm: float
    runaway_mm: float = 0.0

    @property
    def needs_seat(self) -> bool:
        """Whether the curve ends before the finished diameter does."""
        return self.curved_to_mm < self.rim_mm

    @property
    def worked_mm(self) -> float:
        """Semi-diameter [mm] of the curve on the finished part."""
        return min(self.rim_mm, self.curved_to_mm)

    def sag_mm(self, height_mm: float) -> float:
        """Sagitta [mm] at a height [mm]; on the seat that of where it begins."""
        return sag_mm(surface=self.surface, height_mm=min(height_mm, self.curved_to_mm))

    def normal_sine(self, height_mm: float) -> float:
        """Sine of the angle between normal and axis at a height [mm]; y/R for a sphere."""
        steep = slope(surface=self.surface, height_mm=min(height_mm, self.curved_to_mm))
        return steep / math.hypot(1.0, steep)


@dataclass(frozen=True)
class Body:
    """The two profiles of an element with its centre thickness and finished semi-diameter [mm]."""

    front: Profile
    back: Profile
    centre_thickness_mm: float
    rim_mm: float


def profile(*, surface: Surface, rim_mm: float) -> Profile:
    """The profile of a face whose part has a semi-diameter of `rim_mm` [mm].

    Notes: a curve that does not reach the rim ends at the clear diameter, one that does is good for 0.98 of its reach.
    Unequal clear diameters are therefore a seat, not an error. Aspheric terms that depart from the conic by more than the
    semi-diameter, or by no finite figure, are left out and told in `runaway_mm`.
    Source: common practice.
    """
    departure = 0.0
    if surface.asphere:
        departure = max(abs(aspheric_sag_mm(surface=surface, height_mm=rim_mm * i / SAMPLES)) for i in range(1, SAMPLES + 1))
    runaway = departure if departure > rim_mm else 0.0
    if runaway:
        surface = surface.model_copy(update={"asphere": {}})
    good_to = NEARLY_A_HEMISPHERE * reach_mm(surface=surface)
    clear_mm = surface.clear_diameter_mm / 2
    return Profile(surface, rim_mm, clear_mm if rim_mm >= good_to else good_to, runaway)


def body(*, element: Element) -> Body:
    """Both profiles of an element."""
    rim_mm = element.diameter_mm / 2
    return Body(
        front=profile(surface=element.front, rim_mm=rim_mm),
        back=profile(surface=element.back, rim_mm=rim_mm),
        centre_thickness_mm=element.centre_thickness_mm,
        rim_mm=rim_mm,
    )
