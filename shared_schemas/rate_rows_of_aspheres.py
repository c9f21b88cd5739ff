"""Rows of the table of aspheres: the ways of making and measuring an aspheric face."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import Name, NonNegative, NonNegativeMoney, Positive, Share
from shared_schemas.rate_row import RateRow

AsphereTool = Literal["asphere_program", "stitch_set_up", "asphere_null"]
"""What is made once for an aspheric face, and kept for the next order of it."""


class AsphereRow(RateRow):
    """One way of making and measuring an aspheric face, each piece by itself: `name` is the way.

    Ground to its form along a contour, `contour_min_per_mm` of the diameter worked and the departure at `form_mm3_per_min`;
    pre-polished `pre_polish_um` deep at `pre_polish_mm3_per_min`; then corrected from `start_form_um` (peak to valley), a factor
    `gain` each time, `set_min` and `measure_min` (and `measure_min_per_mrad` of slope) each, `residual_um` over the face at
    `correct_mm3_per_min`. Polishing rates are those of a glass of Preston coefficient
    `at_preston_per_pa`, the form rate that of class 3.
    A form t passes with 1 / (1 + (typical_form_um / t) ** sharpness), and is corrected again until it does; below
    `finest_form_um` nobody tries. Of what polishing loses, `rework_share` is corrected once more and `rework_yield` of it is good.
    `needs` are the tools that are made for a face; the other columns limit the faces it is good for.
    """

    contour_min_per_mm: NonNegative
    form_mm3_per_min: Positive
    pre_polish_um: NonNegative
    pre_polish_mm3_per_min: Positive
    correct_mm3_per_min: Positive
    at_preston_per_pa: Positive
    residual_um: NonNegative
    start_form_um: Positive
    gain: Annotated[float, Field(strict=True, gt=1, le=20)]
    set_min: NonNegative
    measure_min: NonNegative
    measure_min_per_mrad: NonNegative
    typical_form_um: Positive
    sharpness: Annotated[float, Field(strict=True, ge=1, le=2.5)]
    finest_form_um: Positive
    rework_share: Share
    rework_yield: Share
    consumables_per_piece: NonNegativeMoney
    needs: tuple[AsphereTool, ...]
    smallest_diameter_mm: Positive
    largest_diameter_mm: Positive
    smallest_concave_radius_mm: Positive
    deepest_sag_mm: Positive
    widest_angle_deg: Annotated[float, Field(strict=True, gt=0, le=180)]
    largest_departure_um: Positive
    steepest_slope_mrad: Positive | None = None


class PressedAsphereRow(RateRow):
    """Precision moulding of aspheric lenses, bought from outside: the moulds once (`charge`, after `lead_days`), then `unit_price` each.

    For glasses that soften early, by name, from `smallest_diameter_mm` to `largest_diameter_mm`, down to a form of `finest_form_um`.
    """

    glasses: Annotated[tuple[Name, ...], Field(min_length=1)]
    smallest_diameter_mm: Positive
    largest_diameter_mm: Positive
    finest_form_um: Positive
    charge: NonNegativeMoney
    lead_days: NonNegative
    unit_price: NonNegativeMoney
