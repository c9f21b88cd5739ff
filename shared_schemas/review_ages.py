"""After how long the rows of a rate table should be looked at again. Common practice, from memory; a shop may set its own."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from shared_schemas.rate_row import RateRow

USUAL_REVIEW_DAYS = 365
REVIEW_DAYS: Mapping[str, int] = {
    "currencies": 7,
    "shop_load": 90,
    "stock_forms": 180,
    "glass_grades": 180,
    "outside_work": 180,
    "hardware": 180,
    "metals": 180,
    "coatings": 730,
    "aspheres": 730,
    "grinding": 730,
    "polishing": 730,
    "tolerance_classes": 1825,
    "allowances": 1825,
    "glasses": 3650,
}
"""Days by table; of a table that is not here a year. Prices of others move fastest, what a process can do slowly, properties of glass least."""


def review_days_of(table: str, own: Mapping[str, int]) -> int:
    """Days after which a row of a table is stale, by the shop's `own` setting or as usual."""
    return own.get(table, REVIEW_DAYS.get(table, USUAL_REVIEW_DAYS))


def is_stale(row: RateRow, table: str, *, on: date, own: Mapping[str, int]) -> bool:
    """Whether a row is older on a day than its table may be."""
    return (on - row.as_of).days > review_days_of(table, own)
