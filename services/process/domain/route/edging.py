"""Centring: the edge is ground true to the axis; and the bevels."""

from __future__ import annotations

import math
from collections.abc import Iterator

from services.optics.body import needs_bevel
from services.optics.centring import SELF_CENTRING_Z_A
from services.process.domain.element_work import ElementWork
from services.process.domain.faces.removal import removal_rate
from services.process.domain.route.extra_work import Counts
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lines import Line, line
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import RateMissing, Rates


def rim_volume_mm3(*, blank_diameter_mm: float, diameter_mm: float, edge_mm: float) -> float:
    """Ring that centring takes off: pi/4 (D_b^2 - D^2) ET [mm3].

    Raises: FigureOutOfRange when the blank is narrower than the lens.
    """
    if blank_diameter_mm < diameter_mm:
        raise FigureOutOfRange("diameter of the blank [mm]", blank_diameter_mm, f"at least that of the lens, {diameter_mm:g} mm")
    return math.pi / 4 * (blank_diameter_mm**2 - diameter_mm**2) * edge_mm


def centring_method(centring_z: float) -> str:
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
    volume = rim_volume_mm3(blank_diameter_mm=work.blank.diameter_mm, diameter_mm=work.diameter_mm, edge_mm=work.edge_mm)
    rate = removal_rate("generate", work.glass, rates)
    minutes = volume / rate.mm3_per_min

    def why() -> tuple[Figure, ...]:
        inputs = (
            Figure(name="D_b", value=work.blank.diameter_mm, unit="mm", source="the blank plan"),
            Figure(name="D", value=work.diameter_mm, unit="mm", source="the prescription"),
            Figure(name="ET", value=work.edge_mm, unit="mm", source="the check report"),
            rate.figure(),
        )
        each = Figure(name="each", value=minutes, unit="min", formula="pi/4 (D_b^2 - D^2) ET / removal rate", inputs=inputs)
        z = Figure(
            name="Z", value=work.centring_z, formula="|D1/R1 - D2/R2|; below 0.56 centred optically", source="the check report"
        )
        return each, z

    yield line(
        "centre", rates, method=centring_method(work.centring_z), diameter_mm=work.blank.diameter_mm, each_min=minutes,
        consumables=rate.row.consumables_per_batch, knee=knee_of("centre", work.demands, rates), run_basis=why,
        extra=work.extra_work.at("centre"),
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
