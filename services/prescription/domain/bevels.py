"""Bevels: how wide a protective chamfer at the rim of a face usually is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from services.optics.body import Body, needs_bevel
from services.optics.surface import Profile
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding


@dataclass(frozen=True)
class Bevel:
    """Leg widths of a bevel at 45 degrees [mm]."""

    least_mm: float
    most_mm: float


@dataclass(frozen=True)
class _Row:
    up_to_mm: float
    convex: Bevel
    hollow_or_plane: Bevel


TABLE: tuple[_Row, ...] = (
    _Row(10, Bevel(0.1, 0.3), Bevel(0.1, 0.3)),
    _Row(30, Bevel(0.2, 0.3), Bevel(0.2, 0.3)),
    _Row(50, Bevel(0.3, 0.3), Bevel(0.3, 0.3)),
    _Row(100, Bevel(0.3, 0.4), Bevel(0.3, 0.5)),
    _Row(150, Bevel(0.3, 0.5), Bevel(0.3, 0.6)),
    _Row(200, Bevel(0.3, 0.6), Bevel(0.4, 0.8)),
    _Row(300, Bevel(0.4, 0.7), Bevel(0.6, 1.0)),
)
"""By finished diameter. The widest, and from 150 mm the least: https://jp.optosigma.com/en_jp/category__opt_d__opt_d07. The least
below: default chamfers of ISO 10110-11, from memory; common practice."""


def usual_bevel_source() -> str:
    """Where the widths of bevels are from."""
    return "table of usual bevels by diameter: https://jp.optosigma.com/en_jp/category__opt_d__opt_d07; ISO 10110-11, from memory"


def is_convex(*, face: Profile, front: bool) -> bool:
    """Whether a face, the front or the back of its element, bulges out of the glass."""
    radius = face.surface.radius_mm
    return radius is not None and (radius > 0) == front


def bevel(*, face: Profile, front: bool) -> Bevel | None:
    """Usual bevel of the front or the back of an element; `None` where none is needed, or past 300 mm.

    Source: the table above.
    """
    convex, radius = is_convex(face=face, front=front), face.surface.radius_mm
    if not needs_bevel(radius_mm=radius, convex=convex, rim_mm=face.rim_mm, seat=face.needs_seat):
        return None
    row = next((row for row in TABLE if 2 * face.rim_mm <= row.up_to_mm), None)
    if row is None:
        return None
    return row.convex if convex else row.hollow_or_plane


def bevel_findings(*, body: Body, name: str, pointer: str) -> Iterator[Finding]:
    """A note where the clear diameter leaves no room for the least bevel."""
    for side, face in (("front", body.front), ("back", body.back)):
        usual = bevel(face=face, front=side == "front")
        clear_mm = face.surface.clear_diameter_mm
        room = body.rim_mm - clear_mm / 2
        if usual is None or room >= usual.least_mm * (1 - 1e-9):
            continue
        most = 2 * (body.rim_mm - usual.least_mm)
        yield finding(
            "bevel-in-clear", f"{pointer}/{side}/clear_diameter_mm",
            f"The {side} of {name} has {room:.3g} mm between its clear diameter of {clear_mm:g} mm and its rim; a bevel takes {usual.least_mm:g} mm or more.",
            figure=room, limit=usual.least_mm, unit="mm", remedy=f"a clear diameter of at most {most:.4g} mm, or a larger element",
        )  # fmt: skip
