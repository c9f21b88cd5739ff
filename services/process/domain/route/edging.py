"""The edge: ground true to the axis, or round where a window has none; and the bevels."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from services.optics.body import needs_bevel
from services.optics.law import decided, figure_of, given, law
from services.process.domain.element_work import ElementWork
from services.process.domain.faces.removal import BY_CLASS, grindability_of
from services.process.domain.route.centring import (
    optical_share_figure,
    optical_share_of,
    rest,
    tolerance_figure,
    trued_min,
    truing_min,
)
from services.process.domain.route.extra_work import Counts
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lines import Blend, Line, Minutes, Spent, Work, line, minutes_in_all
from services.process.domain.route.rate_rows import grinding_row, yield_for
from services.process.domain.route.work_centres import can_take, choose_centre
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import RateMissing, Rates, WorkCentreRow


@law
def ring_mm2(*, blank_diameter_mm: float, diameter_mm: float) -> float:
    """Area [mm2] of the ring that edging takes off, seen along the axis.

    Equation: pi / 4 * (blank_diameter_mm ** 2 - diameter_mm ** 2)

    Raises: FigureOutOfRange when the blank is narrower than the lens.
    """
    if blank_diameter_mm < diameter_mm:
        raise FigureOutOfRange("diameter of the blank [mm]", blank_diameter_mm, f"at least that of the lens, {diameter_mm:g} mm")
    return math.pi / 4 * (blank_diameter_mm**2 - diameter_mm**2)


@law
def edging_min(*, ring_mm2: float, edging_mm2_per_min: float) -> float:
    """Minutes [min] in which a wheel takes off a ring.

    Equation: ring_mm2 / edging_mm2_per_min
    Notes: the rate is stated for each millimetre of edge; the thickness cancels as long as the wheel is wider than the edge.
    Source: common practice, from memory
    """
    return ring_mm2 / edging_mm2_per_min


Method = Literal["bell", "optical", "edging", "asphere", "automatic"]
OTHER: dict[Method, Method] = {"bell": "optical", "optical": "bell"}


def centring_method(work: ElementWork) -> Method:
    """How most lots of an element are edged: between bells, optically, or to the axis of an asphere; two plane faces have no axis."""
    if work.is_window:
        return "edging"
    if any(face.made_aspheric for face in work.faces):
        return "asphere"
    return "optical" if optical_share_of(work) > 0.5 else "bell"


def bevelled_faces(work: ElementWork) -> int:
    """Faces whose rim gets a bevel."""
    return sum(
        needs_bevel(radius_mm=face.radius_mm, convex=face.convex, rim_mm=work.diameter_mm / 2, seat=face.seat)
        for face in work.faces
    )


def centre_and_bevel(work: ElementWork, rates: Rates) -> Iterator[Line]:
    """The edge ground true to the axis, or round where there is none; a bevel where a rim needs one, a seat."""
    yield centre(work, rates)
    yield from bevel(work, rates)


def centre(work: ElementWork, rates: Rates, *, automatic: bool = False) -> Line:
    """Edging at the rate of the glass's grindability class, between bells or centred optically as far as either goes.

    Args:
        automatic: whether a machine aligns and loads by itself, which takes any lens.
    """
    grindability = grindability_of(work.glass)
    row = grinding_row(rates, "generate", grindability.hg)
    method: Method = "automatic" if automatic else centring_method(work)
    ring = ring_mm2(blank_diameter_mm=work.blank.diameter_mm, diameter_mm=work.diameter_mm)
    edging = edging_min(ring_mm2=ring, edging_mm2_per_min=row.edging_mm2_per_min)
    bench = choose_centre(rates, "centre", method, work.blank.diameter_mm, piece_min=edging)
    truing = 0.0 if work.is_window else _truing_min(work, rates, edging)

    def why() -> Figure:
        rate = decided(
            "edging_mm2_per_min", row.edging_mm2_per_min, BY_CLASS, unit="mm2/min", alternatives=[grindability.figure()],
            rate_row=Rates.ref("grinding", row),
        )  # fmt: skip
        edged = figure_of(edging_min, ring_mm2=_ring_figure(work), edging_mm2_per_min=rate)
        parts = [edged, _truing_figure(work, rates, edging)] if truing else [edged]
        return figure_of(minutes_in_all, name="each_min", unit="min", parts_min=parts)

    spent = Spent(row.consumables_per_batch, Rates.ref("grinding", row))
    demands = tuple(one for one in work.demands if not work.is_window or one.attribute != "centring")
    return line(
        "centre", rates, Work(of_piece=Minutes(edging + truing, why), spent=(spent,), remarks=lambda: (_why_method(work, method),)),
        method=method, diameter_mm=work.blank.diameter_mm, knee=knee_of("centre", demands, rates), extra=work.extra_work.at("centre"),
        blend=_blend(work, method, rates, edging), at=bench,
    )  # fmt: skip


def _truing_row(rates: Rates, diameter_mm: float, edging: float) -> WorkCentreRow | None:
    if not can_take(rates, "centre", "optical", diameter_mm):
        return None
    return choose_centre(rates, "centre", "optical", diameter_mm, piece_min=edging).row


def _truing_min(work: ElementWork, rates: Rates, edging: float) -> float:
    row = _truing_row(rates, work.blank.diameter_mm, edging)
    return 0.0 if row is None else truing_min(work, row)


def _truing_figure(work: ElementWork, rates: Rates, edging: float) -> Figure:
    row = _truing_row(rates, work.blank.diameter_mm, edging)
    assert row is not None
    assert row.trued_below_arcmin is not None
    return figure_of(
        trued_min, rate_row=Rates.ref("work_centres", row), align_min=given("align_min", row.align_min, "min"),
        trued_below_arcmin=given("trued_below_arcmin", row.trued_below_arcmin, "arcmin"), centring_arcmin=tolerance_figure(work),
    )  # fmt: skip


def _blend(work: ElementWork, method: Method, rates: Rates, edging: float) -> Blend | None:
    """The other way of centring, in the share of the lots that go it; none for a window, or where no work centre goes that way."""
    other = OTHER.get(method)
    if other is None or not can_take(rates, "centre", other, work.blank.diameter_mm):
        return None
    optical = optical_share_of(work)
    centre = choose_centre(rates, "centre", other, work.blank.diameter_mm, piece_min=edging).row
    survival = yield_for(rates, "centre", other)
    share = optical if other == "optical" else rest(share=optical)
    shown = given("share_of_other", share, source="as shown with the method")
    return Blend(centre, survival, share, lambda: shown)


def _ring_figure(work: ElementWork) -> Figure:
    return figure_of(
        ring_mm2, unit="mm2",
        blank_diameter_mm=given("blank_diameter_mm", work.blank.diameter_mm, "mm", at=f"{work.where}/blank/diameter_mm"),
        diameter_mm=given("diameter_mm", work.diameter_mm, "mm", at=f"/prescription{work.where}/diameter_mm"),
    )  # fmt: skip


def _why_method(work: ElementWork, method: Method) -> Figure:
    if method == "edging":
        return decided("method", method, "both faces are plane: there is no axis, and the edge is ground round")
    if method == "asphere":
        return decided(
            "method", method, "an asphere has an axis of its own, to which tilt and offset are trued", source="common practice"
        )
    if method == "automatic":
        return decided("method", method, "the faces are worked by volume: a machine aligns each lens by its reflexes and loads it")
    reason = (
        "what most lots of such lenses take: bells where the lens slides true and the tolerance is in their reach, optics elsewhere"
    )
    share = optical_share_figure(work)
    both = [share] if method == "bell" else [share, figure_of(rest, name="share_on_bells", unit="", share=share)]
    return decided("method", method, reason, alternatives=both)


def bevel(work: ElementWork, rates: Rates) -> Iterator[Line]:
    """The bevels and the flat seats of an element, each by its minutes; raises `RateMissing` for one that the rates do not have."""
    counts: Counts = {"bevel": bevelled_faces(work), "seat": sum(face.seat for face in work.faces)}
    wanted = {per for per, count in counts.items() if count}
    if not wanted:
        return
    missing = wanted - {row.per for row in work.extra_work.rows_at("bevel")}
    if missing:
        raise RateMissing("extra_work", f"bevel, per {min(missing)}", tuple(row.name for row in rates.extra_work))
    yield line("bevel", rates, extra=work.extra_work.at("bevel", counts))
