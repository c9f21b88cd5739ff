"""The beam: which rays an aperture lets through, how high they stand on every face, and which faces cut them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from services.optics.first_order import Interface, Pupil, entrance_pupil, exit_pupil
from services.optics.train import AroundStop, around_face, around_stop
from shared_schemas.prescription import Prescription

NO_HEIGHT = 1e-12


@dataclass(frozen=True)
class Ray:
    """A paraxial ray in front of the lens: height at the first vertex [mm] and angle."""

    height_mm: float
    angle: float


@dataclass(frozen=True)
class Aperture:
    """What limits the beam. `stated` is false where the clear diameters had to tell; `from_what` says it in words.

    A pupil is `None` where it lies at infinity. `entrance_diameter_mm` is the stated one where there is a stated one.
    """

    entrance: Pupil | None
    exit: Pupil | None
    entrance_diameter_mm: float | None
    marginal: Ray | None
    stated: bool
    from_what: str


def clear_semi_diameters_mm(prescription: Prescription) -> tuple[float, ...]:
    """Clear semi-diameters [mm] of every face, front and back of each element in turn."""
    return tuple(surface.clear_diameter_mm / 2 for element in prescription.elements for surface in (element.front, element.back))


def ray_heights_mm(*, train: Sequence[Interface], ray: Ray) -> tuple[float, ...]:
    """Heights [mm] of a ray on every face of a train in air; empty where they leave all bounds.

    Notes: n'u' = n u - y (n' - n)/R, y' = y + (t/n') n'u'.
    Source: derived.
    """
    heights = []
    y, nu = ray.height_mm, ray.angle
    for face in train:
        heights.append(y)
        nu -= y * face.power_per_mm
        y += nu * face.to_next_mm / face.index_after
    return tuple(heights) if all(map(math.isfinite, heights)) else ()


def limiting_face(*, train: Sequence[Interface], semi_diameters_mm: Sequence[float], object_distance_mm: float | None) -> int:
    """The face, counted from 0, that limits the widest beam of a point on the axis by its clear semi-diameter [mm].

    Source: derived.
    """
    ray = Ray(1.0, 0.0 if object_distance_mm is None else 1 / object_distance_mm)
    heights = ray_heights_mm(train=train, ray=ray) or (1.0,)
    room = [semi / max(abs(height), NO_HEIGHT) for semi, height in zip(semi_diameters_mm, heights, strict=False)]
    return room.index(min(room))


def aperture_of(*, prescription: Prescription, train: Sequence[Interface]) -> Aperture:
    """The aperture of a lens: its stop, the entrance pupil that is stated, or the widest axial beam that passes everywhere.

    Notes: without a stop, the face that limits the axial beam stands for it.
    Source: derived.
    """
    stop, stated_mm = prescription.stop, prescription.entrance_pupil_diameter_mm
    if stop is not None:
        around, stop_mm, from_what = around_stop(train, stop), stop.diameter_mm, "the stop"
    else:
        semis = clear_semi_diameters_mm(prescription)
        face = limiting_face(train=train, semi_diameters_mm=semis, object_distance_mm=prescription.object_distance_mm)
        around, stop_mm = around_face(train, face), 2 * semis[face]
        name = f"the {'back' if face % 2 else 'front'} of {prescription.elements[face // 2].name}"
        from_what = f"the widest axial beam that passes every clear diameter, limited by {name}"
        if stated_mm is not None:
            stop_mm = stated_mm * abs(around.before.a)
            from_what = f"the entrance pupil as stated, its stop taken to be {name}"
    entrance = entrance_pupil(before_stop=around.before, stop_diameter_mm=stop_mm)
    leaving = exit_pupil(behind_stop=around.behind, stop_diameter_mm=stop_mm)
    if stop is not None and stated_mm is not None:
        stop_mm, from_what = stated_mm * abs(around.before.a), "the entrance pupil as stated, at the image of the stop"
    marginal = _marginal(around, stop_mm, prescription.object_distance_mm)
    diameter = stated_mm or (entrance.diameter_mm if entrance else None)
    return Aperture(entrance, leaving, diameter, marginal, stop is not None or stated_mm is not None, from_what)


def _marginal(around: AroundStop, stop_diameter_mm: float, object_distance_mm: float | None) -> Ray | None:
    """The ray from the middle of the object to the edge of the stop: y_stop = a y + b u with y = s u, or u = 0 from afar."""
    before = around.before
    reach = abs(before.a if object_distance_mm is None else before.a * object_distance_mm + before.b)
    if not NO_HEIGHT < reach < math.inf:
        return None
    share = stop_diameter_mm / 2 / reach
    ray = Ray(share, 0.0) if object_distance_mm is None else Ray(share * object_distance_mm, share)
    return ray if 0 < ray.height_mm < math.inf else None


def chief_ray(*, entrance: Pupil, field_half_angle_deg: float) -> Ray | None:
    """The ray of a field angle [deg] through the middle of the entrance pupil; `None` where it leaves all bounds.

    Notes: angles by their tangent, the paraxial convention.
    Source: derived.
    """
    angle = math.tan(math.radians(field_half_angle_deg))
    ray = Ray(-entrance.position_mm * angle, angle)
    return ray if math.isfinite(ray.height_mm) else None


def share_passed(
    *, marginal_heights_mm: Sequence[float], chief_heights_mm: Sequence[float], semi_diameters_mm: Sequence[float]
) -> tuple[float, int]:
    """Share of the pupil's width, in the plane of the field, that every face lets pass, and the face that cuts the most.

    Notes: a face passes the points rho of the pupil, -1 to 1, with |y_chief + rho y_marginal| not above its semi-diameter.
    0 where nothing passes.
    Source: derived.
    """
    low, high, worst, least = -1.0, 1.0, 0, math.inf
    for i, (marginal, chief, semi) in enumerate(zip(marginal_heights_mm, chief_heights_mm, semi_diameters_mm, strict=True)):
        if abs(marginal) < NO_HEIGHT:
            ends = (-1.0, 1.0) if abs(chief) <= semi else (1.0, 1.0)
        else:
            ends = tuple(sorted(((-semi - chief) / marginal, (semi - chief) / marginal)))  # type: ignore[assignment]
        own = min(1.0, ends[1]) - max(-1.0, ends[0])
        low, high = max(low, ends[0]), min(high, ends[1])
        if own < least:
            worst, least = i, own
    return max(0.0, (high - low) / 2), worst
