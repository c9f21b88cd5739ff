"""Exact rays of a lens: its faces as they stand on the axis, its pupils, best focus and spots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from services.optics.law import law
from services.optics.trace import ORDERS, Bundle, Floats, Traced, Trains, trace_trains
from services.optics.train import AIR, CEMENT
from shared_schemas.prescription import Prescription, Surface


@dataclass(frozen=True)
class SurfaceOnAxis:
    """A refracting face: signed radius [mm] (`None` plano), its vertex on the axis [mm], the index behind it."""

    radius_mm: float | None
    vertex_mm: float
    index_after: float
    semi_diameter_mm: float
    conic: float = 0.0
    asphere: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True)
class Pupils:
    """Entrance pupils of trains: place behind the first vertex [mm] and semi-diameter [mm], each (trains,)."""

    position_mm: Floats
    semi_diameter_mm: Floats


@dataclass(frozen=True)
class Focus:
    """Where rays come closest to one point: behind the last vertex [mm], RMS radius there [mm], share that is lost; (trains,).

    Place and radius are infinite where no ray arrives, or where they leave parallel.
    """

    position_mm: Floats
    rms_mm: Floats
    lost: Floats


@dataclass(frozen=True)
class Spot:
    """The image of one point: field angle [deg], RMS radius [mm] at the place [mm] behind the last vertex, share of rays lost.

    Radius and place are `None` where no ray arrives, or where they leave parallel.
    """

    field_deg: float
    rms_mm: float | None
    position_mm: float | None
    lost: float


@dataclass(frozen=True)
class Marginal:
    """The paraxial marginal ray: slopes before and behind the train [-], place of the image behind the last vertex [mm]; (trains,).

    The place is infinite where the light leaves parallel.
    """

    slope_before: Floats
    slope_behind: Floats
    image_mm: Floats


@law
def from_paraxial_focus_mm(*, best_focus_mm: float, paraxial_focus_mm: float) -> float:
    """How far the best focus of exact rays lies behind the paraxial one [mm].

    Equation: best_focus_mm - paraxial_focus_mm
    Source: definition.
    """
    return best_focus_mm - paraxial_focus_mm


def surfaces_of(prescription: Prescription, indices: Sequence[float]) -> tuple[SurfaceOnAxis, ...]:
    """The faces of a prescription, two for every element; `indices` has the index of each element.

    Notes: a cemented pair has a film of no thickness between its faces, as the first-order train has it.
    """
    faces: list[SurfaceOnAxis] = []
    vertex_mm = 0.0
    for i, (element, index) in enumerate(zip(prescription.elements, indices, strict=True)):
        space = prescription.spaces[i] if i < len(prescription.spaces) else None
        faces.append(_on_axis(element.front, vertex_mm, index))
        vertex_mm += element.centre_thickness_mm
        faces.append(_on_axis(element.back, vertex_mm, CEMENT if space is not None and space.cemented else AIR))
        vertex_mm += (space.gap_mm or 0.0) if space is not None else 0.0
    return tuple(faces)


def trains_of(surfaces: Sequence[SurfaceOnAxis]) -> Trains:
    """One train of faces as arrays."""
    vertices = [surface.vertex_mm for surface in surfaces]
    terms = np.zeros((len(surfaces), 1, len(ORDERS)))
    for row, surface in enumerate(surfaces):
        for order, coefficient in surface.asphere:
            terms[row, 0, ORDERS.index(order)] += coefficient
    return Trains(
        curvature_per_mm=_column([0.0 if s.radius_mm is None else 1 / s.radius_mm for s in surfaces]),
        conic=_column([s.conic for s in surfaces]),
        way_mm=_column([*(b - a for a, b in pairwise(vertices)), 0.0]),
        index_after=_column([s.index_after for s in surfaces]),
        terms=terms,
        semi_diameter_mm=np.array([s.semi_diameter_mm for s in surfaces]),
    )


def trace(*, surfaces: Sequence[SurfaceOnAxis], bundle: Bundle, index_before: float = AIR) -> Traced:
    """Rays through the faces of one train in their order; never NaN, never an exception for a ray that is lost."""
    return trace_trains(trains=trains_of(surfaces), bundle=bundle, index_before=index_before)


def spots(*, prescription: Prescription, indices: Sequence[float], fields_deg: Sequence[float] = (0.0,)) -> tuple[Spot, ...]:
    """The image of a point at each field angle [deg], at the best focus of its own; all fields in one trace.

    Off the axis a ray outside a clear diameter is lost; on the axis it is not, so that the pupil that is stated counts.
    """
    trains = trains_of(surfaces_of(prescription, indices))
    pupils = pupils_of(prescription=prescription, trains=trains)
    fields = np.array(fields_deg, dtype=np.float64)
    bundle = bundle_of(pupils=pupils, pattern=_PATTERN, fields_deg=fields, object_distance_mm=prescription.object_distance_mm)
    focus = focus_of(trace_trains(trains=trains, bundle=bundle, within_clear=fields != 0))
    return tuple(
        Spot(field, rms if np.isfinite(rms) else None, place if np.isfinite(place) else None, lost)
        for field, rms, place, lost in zip(
            fields_deg, focus.rms_mm.tolist(), focus.position_mm.tolist(), focus.lost.tolist(), strict=True
        )
    )


def rms_spot_mm(*, prescription: Prescription, indices: Sequence[float], field_deg: float = 0.0) -> float | None:
    """RMS radius of the image of a point [mm] at its best focus; `None` where no ray arrives or they leave parallel."""
    return spots(prescription=prescription, indices=indices, fields_deg=(field_deg,))[0].rms_mm


def best_focus_mm(*, prescription: Prescription, indices: Sequence[float]) -> float | None:
    """Place of the least RMS spot on the axis behind the last vertex [mm]; `None` as for the spot."""
    return spots(prescription=prescription, indices=indices)[0].position_mm


def pupil_pattern(*, rings: int = 4, arms: int = 16) -> Floats:
    """Points that share a pupil of radius 1 equally, (2, rays): rings of equal area, each turned by half an arm.

    Two arms make a fan in the meridional plane.
    """
    radii = np.repeat(np.sqrt((np.arange(rings) + 0.5) / rings), arms)
    turn = 0.0 if arms == 2 else 0.5
    angles = np.pi / 2 + 2 * np.pi * np.concatenate([(np.arange(arms) + turn * (ring % 2)) / arms for ring in range(rings)])
    return np.stack([radii * np.cos(angles), radii * np.sin(angles)])


def pupils_of(*, prescription: Prescription, trains: Trains) -> Pupils:
    """Entrance pupils by first order of trains that share the stop, the apertures and the object of a prescription.

    Notes: the diameter is the one that is stated; else that of the image of the stop, within the first clear diameter; else
    the first clear diameter, as far as the other clear diameters let it pass. A pupil at infinity counts as at the vertex.
    """
    first_mm = float(trains.semi_diameter_mm[0])
    distance_mm = prescription.object_distance_mm
    stated_mm, stop = prescription.entrance_pupil_diameter_mm, prescription.stop
    semi_mm = np.full(trains.way_mm.shape[1], first_mm if stated_mm is None else stated_mm / 2)
    place_mm = np.zeros_like(semi_mm)
    with np.errstate(all="ignore"):
        if stop is not None and stop.after_element == 0:
            place_mm -= abs(stop.distance_mm)
            semi_mm = semi_mm if stated_mm is not None else np.minimum(semi_mm, stop.diameter_mm / 2)
        elif stop is not None:
            at = 2 * stop.after_element - 1
            a = _height_at(trains, at, stop.distance_mm, height=1.0, slope=0.0)
            b = _height_at(trains, at, stop.distance_mm, height=0.0, slope=1.0)
            far = ~(np.abs(b) < 1e5 * np.abs(a))
            place_mm = np.where(far, 0.0, b / a)
            semi_mm = semi_mm if stated_mm is not None else np.minimum(semi_mm, stop.diameter_mm / 2 / np.abs(a))
        elif stated_mm is None:
            heights = np.abs(_heights(trains, height=1.0, slope=0.0 if distance_mm is None else 1 / distance_mm)[0])
            semi_mm = np.minimum(semi_mm, (trains.semi_diameter_mm[:, None] / heights).min(axis=0))
    if distance_mm is not None:
        place_mm = np.where(place_mm > -0.9 * distance_mm, place_mm, 0.0)
    return Pupils(place_mm, np.where(np.isfinite(semi_mm), semi_mm, first_mm))


def bundle_of(*, pupils: Pupils, pattern: Floats, fields_deg: Floats, object_distance_mm: float | None) -> Bundle:
    """Rays from a point of the object through the pattern of each pupil; field angles (trains,) or one pupil with many.

    Notes: the angle is that of the chief ray, in the plane of y; the object is flat, at its distance before the first vertex.
    """
    place_mm, angle, semi_mm = np.broadcast_arrays(pupils.position_mm, np.radians(fields_deg), pupils.semi_diameter_mm)
    shape = (3, len(place_mm), pattern.shape[1])
    points = np.empty(shape)
    points[:2] = semi_mm[:, None] * pattern[:, None, :]
    points[2] = place_mm[:, None]
    directions = np.zeros(shape)
    if object_distance_mm is None:
        directions[1] = np.sin(angle)[:, None]
        directions[2] = np.cos(angle)[:, None]
        return Bundle(points, directions)
    directions[:] = points
    directions[2] += object_distance_mm
    directions[1] += np.tan(angle)[:, None] * directions[2]
    return Bundle(points, directions / np.sqrt((directions * directions).sum(axis=0)))


def focus_of(traced: Traced) -> Focus:
    """The plane across the axis in which the rays of each train have the least RMS radius about their centroid.

    Notes: with p the places and q the slopes less their means, the plane lies at -sum(p q) / sum(q q).
    Source: derived, least squares.
    """
    weight = traced.arrives.astype(np.float64)
    count = weight.sum(axis=1)
    forward = np.where(traced.arrives, traced.directions[2], 1.0)
    slopes = traced.directions[:2] / forward
    places = traced.points_mm[:2] - traced.points_mm[2] * slopes
    some = np.maximum(count, 1.0)
    p = (places - (places.sum(axis=2) / some)[:, :, None]) * weight
    q = (slopes - (slopes.sum(axis=2) / some)[:, :, None]) * weight
    spread = (q * q).sum(axis=(0, 2))
    meet = (spread > 1e-18 * some) & (count > 1)
    position = np.where(meet, -(p * q).sum(axis=(0, 2)) / np.where(meet, spread, 1.0), np.inf)
    blur = p + np.where(meet, position, 0.0)[:, None] * q
    return Focus(position, np.where(meet, np.sqrt((blur * blur).sum(axis=(0, 2)) / some), np.inf), 1 - count / weight.shape[1])


def marginal_of(*, trains: Trains, pupils: Pupils, object_distance_mm: float | None) -> Marginal:
    """The marginal ray of each train by first order."""
    semi = pupils.semi_diameter_mm
    before = np.zeros_like(semi) if object_distance_mm is None else semi / (object_distance_mm + pupils.position_mm)
    height = semi - before * pupils.position_mm
    with np.errstate(all="ignore"):
        heights, reduced = _heights(trains, height=height, slope=before)
        behind = reduced / trains.index_after[-1]
        image = -heights[-1] / behind
    return Marginal(before, behind, np.where(np.isfinite(image), image, np.inf))


def _heights(trains: Trains, *, height: Floats | float, slope: Floats | float) -> tuple[Floats, Floats]:
    """Paraxial heights [mm] at each face, (faces, trains), and the reduced angle n u behind the last, (trains,)."""
    reach = np.zeros(trains.way_mm.shape[1]) + height
    reduced = np.zeros_like(reach) + slope
    heights = np.empty_like(trains.way_mm)
    before: float | Floats = AIR
    for i, after in enumerate(trains.index_after):
        heights[i] = reach
        reduced = reduced - reach * (after - before) * trains.curvature_per_mm[i]
        reach = reach + trains.way_mm[i] * reduced / after
        before = after
    return heights, reduced


def _height_at(trains: Trains, face: int, distance_mm: float, *, height: float, slope: float) -> Floats:
    """Paraxial height [mm] at a distance [mm] behind a face, (trains,)."""
    part = Trains(*(getattr(trains, name)[: face + 1] for name in Trains.__dataclass_fields__))
    heights, reduced = _heights(part, height=height, slope=slope)
    found: Floats = heights[-1] + distance_mm * reduced / part.index_after[-1]
    return found


def _on_axis(face: Surface, vertex_mm: float, index_after: float) -> SurfaceOnAxis:
    asphere = tuple((int(order), coefficient) for order, coefficient in sorted(face.asphere.items()) if coefficient)
    conic = face.conic if face.radius_mm is not None else 0.0
    return SurfaceOnAxis(face.radius_mm, vertex_mm, index_after, face.clear_diameter_mm / 2, conic, asphere)


def _column(values: Sequence[float]) -> Floats:
    return np.array(values, dtype=np.float64)[:, None]


_PATTERN = pupil_pattern()
