"""What of an aspheric face its work follows from."""

from __future__ import annotations

from dataclasses import dataclass

from services.optics.departure import FromReference, form_error_um, from_reference_sphere
from services.optics.fringes import REFERENCE_NM
from services.optics.surface import Profile

AS_A_SPHERE_UP_TO = 30.0
"""A departure of more times the form tolerance is never polished into a sphere: that would take hundreds of times the polishing."""


@dataclass(frozen=True)
class Asphere:
    """An aspheric face against its reference sphere, over the whole part, and the `form` in words by which its tools are known.

    `by_itself` is decided of one that shall not be polished as a sphere, however near to one it is.
    """

    from_reference: FromReference
    form: str
    by_itself: bool = False

    def is_near_a_sphere(self, irregularity_fringes: float) -> bool:
        """Whether it departs so little for what it is allowed that it may be polished as a sphere."""
        return not self.by_itself and self.from_reference.departure_um <= AS_A_SPHERE_UP_TO * allowed_um(irregularity_fringes)


def allowed_um(irregularity_fringes: float) -> float:
    """The form error [um] that a face is allowed, peak to valley."""
    return form_error_um(irregularity_fringes=irregularity_fringes, wavelength_nm=REFERENCE_NM)


def asphere_of(shape: Profile, *, front: bool) -> Asphere:
    """The aspheric face of a profile, to the rim of the finished part or as far as its curve goes."""
    reached = from_reference_sphere(
        surface=shape.surface, semi_diameter_mm=min(shape.rim_mm, shape.curved_to_mm), glass_behind=front
    )
    return Asphere(reached, form_in_words(shape, front=front))


def form_in_words(shape: Profile, *, front: bool) -> str:
    """Radius, conic and terms of a face; the same for a lens turned round, as radius and terms then change sign together."""
    surface, radius = shape.surface, shape.surface.radius_mm
    sign = 1 if (front if radius is None else radius > 0) else -1
    side = "plano" if radius is None else "convex" if (radius > 0) == front else "concave"
    terms = [f"A{order} {sign * surface.asphere[order]:.10g}" for order in sorted(surface.asphere, key=int)]
    return ", ".join([side if radius is None else f"{side} R {abs(radius):.10g}", f"k {surface.conic:.10g}", *terms])
