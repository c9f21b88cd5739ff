"""Which face of an element is worked first, and why."""

from __future__ import annotations

from dataclasses import dataclass

from shared_schemas.operations import Face

CLEARLY_TIGHTER = 0.5
"""A figure this share of the other's, or less, is clearly the tighter one; common practice."""

CLEARLY_FINER = 0.65
"""An imperfection grade this share of the other's is a step of the series of ISO 10110-7 finer: 0.10, 0.16, 0.25, 0.40 (from memory)."""


@dataclass(frozen=True)
class FaceShape:
    """What the order of the faces hangs on: curvature, figure, imperfections, coating; of one face."""

    face: Face
    radius_mm: float | None
    convex: bool
    aspheric: bool
    irregularity_fringes: float
    grade_mm: float
    coated: bool


@dataclass(frozen=True)
class FaceOrder:
    """The face worked first, and why it is that one; `by_shape` when nothing but the shape of the faces says so."""

    first: Face
    reason: str
    by_shape: bool = False


def order_of(front: FaceShape, back: FaceShape, *, delicate: bool) -> FaceOrder:
    """The order in which two faces are worked.

    Args:
        delicate: whether the glass stains or weathers, so that a polished face should not wait.

    Notes: the first rule that tells the faces apart holds. An asphere last; the clearly tighter figure last, as what is blocked
    on afterwards is strained; of a delicate glass the only coated face last, and else the clearly finer one; the concave face
    first; the flatter one first; the front.

    Source: common practice.
    """
    if front.aspheric != back.aspheric:
        return _last(front if front.aspheric else back, "the asphere last: the sphere is what it rests on and is centred by")
    tighter, wider = sorted((front, back), key=lambda one: one.irregularity_fringes)
    if tighter.irregularity_fringes <= CLEARLY_TIGHTER * wider.irregularity_fringes:
        return _last(tighter, "the tighter figure last: blocking on a finished face strains it")
    if delicate and front.coated != back.coated:
        return _last(front if front.coated else back, "the face to be coated last: this glass must not wait for its coating")
    finer, coarser = sorted((front, back), key=lambda one: one.grade_mm)
    if delicate and finer.grade_mm <= CLEARLY_FINER * coarser.grade_mm + 1e-9:
        return _last(finer, "the face with the finer imperfections last: in this glass the first one waits under lacquer")
    if front.convex != back.convex:
        return _first(back if front.convex else front, "the concave or plane face first: finished, it is what the piece rests on")
    flatter = front if (front.radius_mm or float("inf")) >= (back.radius_mm or float("inf")) else back
    return _first(flatter, "the flatter face first: finished, it is what the piece rests on")


def _first(one: FaceShape, reason: str) -> FaceOrder:
    return FaceOrder(one.face, reason, by_shape=True)


def _last(one: FaceShape, reason: str) -> FaceOrder:
    return FaceOrder("back" if one.face == "front" else "front", reason)
