"""Rays of the axial beam through the stop, as lines through a lens in section."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from services.optics.rays import bundle_of, pupils_of, surfaces_of, trains_of
from services.optics.trace import Trains, trace_trains
from shared_schemas.prescription import Prescription

HEIGHTS = (1.0, 0.5, -0.5, -1.0)
"""The rays by their heights in the entrance pupil, as shares of its semi-diameter; that on the axis is the axis."""

Ray = tuple[tuple[float, float], ...]
"""Points along the axis from the first vertex, and above it [mm]: before the lens, at each face, behind it."""


def axial_rays(*, prescription: Prescription, indices: Sequence[float], from_mm: float, to_mm: float) -> tuple[Ray, ...]:
    """The rays of a point of the object on the axis, from one plane across the axis to another [mm]; those alone that come through."""
    trains = trains_of(surfaces_of(prescription, indices))
    pupils = pupils_of(prescription=prescription, trains=trains)
    pattern = np.array([[0.0] * len(HEIGHTS), HEIGHTS])
    bundle = bundle_of(pupils=pupils, pattern=pattern, fields_deg=np.zeros(1), object_distance_mm=prescription.object_distance_mm)
    slopes = bundle.directions[1, 0] / bundle.directions[2, 0]
    before = bundle.points_mm[1, 0] + slopes * (from_mm - bundle.points_mm[2, 0])
    points = [np.stack([np.full(len(HEIGHTS), from_mm), before])]
    vertex_mm, arrives = 0.0, np.ones(len(HEIGHTS), dtype=bool)
    for faces in range(1, len(trains.way_mm) + 1):
        first = Trains(*(getattr(trains, name)[:faces] for name in Trains.__dataclass_fields__))
        traced = trace_trains(trains=first, bundle=bundle)
        vertex_mm += float(trains.way_mm[faces - 1, 0])
        points.append(np.stack([vertex_mm + traced.points_mm[2, 0], traced.points_mm[1, 0]]))
        arrives &= traced.arrives[0]
    with np.errstate(all="ignore"):
        behind = points[-1][1] + (to_mm - points[-1][0]) * traced.directions[1, 0] / traced.directions[2, 0]
    points.append(np.stack([np.full(len(HEIGHTS), to_mm), behind]))
    return tuple(tuple((float(at[0, ray]), float(at[1, ray])) for at in points) for ray in range(len(HEIGHTS)) if arrives[ray])
