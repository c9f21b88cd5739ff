"""Rows of the tables of the mount: what is bought by size, and what is turned from which metal."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import NonNegative, NonNegativeMoney, Positive
from shared_schemas.rate_row import RateRow

Price = Annotated[NonNegativeMoney, Field(gt=0)]


class HardwareRow(RateRow):
    """A bought part: `kind`, in a material where it matters, at a diameter.

    Between two rows of a kind prices go in proportion to the diameter; below the smallest they stay. Single elements go in bulk
    on a `tray`, large ones each in a `box`, a lens in its barrel in a `case`. A part of the mount that has rows here is bought
    at their prices, one that has none is turned.
    """

    kind: Literal["barrel", "spacer", "retaining_ring", "stop_plate", "tray", "box", "case"]
    material: Annotated[str, Field(max_length=40)] = ""
    diameter_up_to_mm: Positive
    lot_charge: NonNegativeMoney
    unit_price: Price
    lead_days: NonNegative


class MetalRow(RateRow):
    """A metal that mounts are turned from (`name`): how it cuts, what it and its finish cost, and the days these take besides."""

    removal_cm3_per_min: Positive
    cutting_m_per_min: Positive
    price_per_cm3: Price
    finish: Annotated[str, Field(min_length=1, max_length=40)]
    finish_lot_charge: NonNegativeMoney
    finish_each: NonNegativeMoney
    extra_lead_days: NonNegative
    density_g_cm3: Positive


class TurningRow(RateRow):
    """How a part of the mount is turned.

    A blank is `stock_mm` wider than the part. Each face is finished in `passes` passes at `feed_mm` a turn; `threads` take
    `thread_min` each; `seats` (of a barrel for each part in it) take `seat_min` each in a metal cut at `usual_m_per_min`, more
    in proportion in a slower one. A bore closer than `usual_tolerance_mm` takes that ratio to the power `tolerance_power`
    longer; one deeper than `deep_from` diameters `deep_slope` for each diameter more, up to `deep_to`. Spacers and rings are
    `wall_mm` thick; a ring is `length_mm` long, a spacer no shorter than that.
    """

    kind: Literal["barrel", "spacer", "retaining_ring"]
    rate_per_h: Price
    setup_min: NonNegative
    load_min: NonNegative
    threads: Annotated[int, Field(strict=True, ge=0)]
    thread_min: NonNegative
    seats: Annotated[int, Field(strict=True, ge=0)]
    seat_min: NonNegative
    usual_m_per_min: Positive
    stock_mm: NonNegative
    feed_mm: Positive
    passes: Annotated[int, Field(strict=True, ge=1)]
    usual_tolerance_mm: Positive
    tolerance_power: Annotated[float, Field(strict=True, ge=0, le=2)]
    deep_from: Positive
    deep_to: Positive
    deep_slope: NonNegative
    wall_mm: Positive | None = None
    length_mm: Positive | None = None
    largest_diameter_mm: Positive
    lead_days: NonNegative
