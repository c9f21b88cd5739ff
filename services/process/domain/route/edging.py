"""Centring: the edge is ground true to the axis; and the bevels."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from services.optics.body import needs_bevel
from services.optics.centring import SELF_CENTRING_Z_A
from services.optics.law import decided, figure_of, given, law
from services.process.domain.element_work import ElementWork
from services.process.domain.faces.removal import cutting_min, removal_rate
from services.process.domain.route.extra_work import Counts
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lines import Line, Minutes, Spent, Work, line
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import RateMissing, Rates


@law
def rim_volume_mm3(*, blank_diameter_mm: float, diameter_mm: float, edge_mm: float) -> float:
    """Ring [mm3] that centring takes off.

    Equation: pi / 4 * (blank_diameter_mm ** 2 - diameter_mm ** 2) * edge_mm

    Raises: FigureOutOfRange when the blank is narrower than the lens.
    """
    if blank_diameter_mm < diameter_mm:
        raise FigureOutOfRange("diameter of the blank [mm]", blank_diameter_mm, f"at least that of the lens, {diameter_mm:g} mm")
    return math.pi / 4 * (blank_diameter_mm**2 - diameter_mm**2) * edge_mm


def rim_of(work: ElementWork) -> float:
    """The ring that centring takes off an element [mm3]."""
    return rim_volume_mm3(blank_diameter_mm=work.blank.diameter_mm, diameter_mm=work.diameter_mm, edge_mm=work.edge_mm)


def rim_figure(work: ElementWork) -> Figure:
    """The ring that centring takes off an element, as a figure."""
    return figure_of(
        rim_volume_mm3, blank_diameter_mm=given("blank_diameter_mm", work.blank.diameter_mm, "mm", at=f"{work.where}/blank/diameter_mm"),
        diameter_mm=given("diameter_mm", work.diameter_mm, "mm", at=f"/prescription{work.where}/diameter_mm"),
        edge_mm=given("edge_mm", work.edge_mm, "mm", at=f"/check{work.where}/edge_thickness_mm"),
    )  # fmt: skip


def centring_method(centring_z: float) -> Literal["bell", "optical"]:
    """`bell` where the bells of a chuck slide the lens true by themselves, `optical` below Z = 0.56."""
    return "bell" if centring_z >= SELF_CENTRING_Z_A else "optical"


def bevelled_faces(work: ElementWork) -> int:
    """Faces whose rim gets a bevel."""
    return sum(
        needs_bevel(radius_mm=face.radius_mm, convex=face.convex, rim_mm=work.diameter_mm / 2, seat=face.seat)
        for face in work.faces
    )


def centre_and_bevel(work: ElementWork, rates: Rates) -> Iterator[Line]:
    """Centring by the method that Z asks for, at the rate of the glass's grindability class; a bevel where a rim needs one, a seat."""
    rate = removal_rate("generate", work.glass, rates)
    method = centring_method(work.centring_z)

    def why() -> Figure:
        return figure_of(cutting_min, name="each_min", unit="min", volume_mm3=rim_figure(work), removal_mm3_per_min=rate.figure())

    def method_by_z() -> tuple[Figure, ...]:
        z = given("centring_z", work.centring_z, at=f"/check{work.where}/centring_z")
        limit = given("self-centring from", SELF_CENTRING_Z_A, source="friction of glass on the bell, 0.14")
        reason = "a lens whose Z is at least the limit slides true between bells by itself; below it is centred optically"
        return (decided("method", method, reason, alternatives=[z, limit]),)

    minutes = cutting_min(volume_mm3=rim_of(work), removal_mm3_per_min=rate.mm3_per_min)
    spent = Spent(rate.row.consumables_per_batch, Rates.ref("grinding", rate.row))
    yield line(
        "centre", rates, Work(of_piece=Minutes(minutes, why), spent=(spent,), remarks=method_by_z), method=method,
        diameter_mm=work.blank.diameter_mm, knee=knee_of("centre", work.demands, rates), extra=work.extra_work.at("centre"),
    )  # fmt: skip
    yield from _bevel(work, rates)


def _bevel(work: ElementWork, rates: Rates) -> Iterator[Line]:
    """The bevels and the flat seats of an element, each by its minutes; raises `RateMissing` for one that the rates do not have."""
    counts: Counts = {"bevel": bevelled_faces(work), "seat": sum(face.seat for face in work.faces)}
    wanted = {per for per, count in counts.items() if count}
    if not wanted:
        return
    missing = wanted - {row.per for row in work.extra_work.rows_at("bevel")}
    if missing:
        raise RateMissing("extra_work", f"bevel, per {min(missing)}", tuple(row.name for row in rates.extra_work))
    yield line("bevel", rates, extra=work.extra_work.at("bevel", counts))
