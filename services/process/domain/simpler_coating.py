"""The coating one step simpler: the next stack of the rates with fewer layers, or the bare face."""

from __future__ import annotations

from dataclasses import dataclass

from services.optics.dispersion import Dispersion
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.film_promise import bare_face, promise_of
from shared_schemas.rates import Rates


@dataclass(frozen=True)
class Simpler:
    """A coating (None the bare face) with what the face reflects now and then, mean over the band of the present one [%]."""

    coating: str | None
    from_reflectance: float
    to_reflectance: float
    means: str


def simpler_coating(work: ElementWork, face: FaceWork, rates: Rates) -> Simpler | None:
    """What a face could have instead of its coating; None for a bare one, or one that is no antireflection coating.

    Notes:
        Of the coatings with fewer layers that reflect less than the bare glass, in the band of the present one, that with
        the most layers, and of those the one that reflects least; the bare face where there is none. A mirror or a divider
        reflects more than the bare glass and is left as it is.
    """
    if face.coating is None:
        return None
    row = rates.coating(face.coating)
    asked, glass = face.works(row), Dispersion(work.glass)
    bare, now = bare_face(asked, glass), promise_of(row, asked, glass)
    if bare is None or now is None or now.mean >= bare.mean:
        return None
    best, best_layers, then = None, 0, bare.mean
    for other in rates.coatings:
        if best_layers <= len(other.layers) < len(row.layers):
            left = promise_of(other, asked, glass)
            if left is not None and left.mean < bare.mean and (len(other.layers) > best_layers or left.mean < then):
                best, best_layers, then = other.name, len(other.layers), left.mean
    name = "no coating" if best is None else best
    means = f"{name} instead of {row.name}; reflected in the mean {asked}"
    return Simpler(best, round(100 * now.mean, 2), round(100 * then, 2), means)
