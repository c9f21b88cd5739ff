"""Edge thickness: what is left of the glass at a height, and the least that practice asks for."""

from __future__ import annotations

from services.prescription.domain.profile import Body

LEAST_EDGE_MM: tuple[tuple[float, float], ...] = ((6.0, 0.3), (25.0, 1.0), (50.0, 1.5), (float("inf"), 2.0))
"""Diameter up to which [mm], and the least edge thickness [mm] there. Common practice, from memory."""


def edge_thickness_mm(*, body: Body, height_mm: float) -> float:
    """Thickness [mm] of an element at a height [mm]; negative where the faces have crossed before it.

    Notes: ET = CT - z1 + z2 with signed sagittas; a face that ends before the height goes on as a flat seat.
    Source: derived.
    """
    return body.centre_thickness_mm - body.front.sag_mm(height_mm) + body.back.sag_mm(height_mm)


def least_edge_mm(*, diameter_mm: float) -> float:
    """Least edge thickness [mm] that practice asks for at a diameter [mm].

    Source: common practice, from memory.
    """
    return next(least for up_to, least in LEAST_EDGE_MM if diameter_mm <= up_to)
