"""What a change of one radius does to the focal length of the whole lens."""

from __future__ import annotations

import math
from collections.abc import Sequence

from services.prescription.domain.first_order import Interface


def focal_lengths_per_radius(*, train: Sequence[Interface], focal_length_mm: float | None) -> tuple[float | None, ...]:
    """df/dR [mm/mm] of every face; `None` for a plano one, and for all of a lens without a focal length.

    Notes: with y the height on a face of a ray that comes parallel to the axis at height 1, and y* that of one that leaves
    so, 1/f changes by y y* for each unit of the face's power (n' - n)/R, so df/dR = f^2 y y* (n' - n)/R^2. The power of a
    lens is linear in that of each face: 1/f' = 1/f + df/dR (R/f)^2 (1/R' - 1/R) holds for any change of one radius.
    Source: derived; Kingslake and Johnson, Lens Design Fundamentals, has the sum of y (n' - n)/R over the faces.
    """
    if focal_length_mm is None:
        return (None,) * len(train)
    return tuple(
        _finite(None if face.radius_mm is None else (focal_length_mm / face.radius_mm) ** 2 * coming * leaving * (face.index_after - face.index_before))
        for face, coming, leaving in zip(train, _coming(train), _leaving(train), strict=True)
    )  # fmt: skip


def _coming(train: Sequence[Interface]) -> list[float]:
    """Heights on the faces of a ray that comes parallel to the axis at height 1."""
    heights, y, nu = [], 1.0, 0.0
    for face in train:
        heights.append(y)
        nu -= y * face.power_per_mm
        y += nu * face.to_next_mm / face.index_after
    return heights


def _leaving(train: Sequence[Interface]) -> list[float]:
    """Heights on the faces of a ray that leaves parallel to the axis at height 1, followed back from the last."""
    heights, y, nu = [0.0] * len(train), 1.0, 0.0
    for i in reversed(range(len(train))):
        heights[i] = y
        nu += y * train[i].power_per_mm
        if i:
            y -= nu * train[i - 1].to_next_mm / train[i - 1].index_after
    return heights


def _finite(figure: float | None) -> float | None:
    return figure if figure is not None and math.isfinite(figure) else None
