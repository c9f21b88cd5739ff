"""What glass costs that is left on a blank: it has to be ground away."""

from __future__ import annotations

from services.shop.minutes import per_minute
from shared_schemas.rates import Rates

CLASS_OF_THE_ROW = 3
"""Grindability class that holds where a glass has none (ISO 12844)."""


def work_per_mm3(*, grindability_hg: int | None, rates: Rates) -> float | None:
    """Cost of grinding away a cubic millimetre [base currency] by curve generating, at the cheapest machine; `None` where no row says.

    Notes: cost of an attended minute over the removal [mm3/min].
    Source: derived.
    """
    wanted = grindability_hg or CLASS_OF_THE_ROW
    removals = [
        row.removal_mm3_per_min
        for row in rates.grinding
        if row.stage == "generate" and row.grindability_hg == wanted and row.removal_mm3_per_min
    ]
    per_min = [
        per_minute(centre).attended(centre.attended_share) for centre in rates.work_centres if "generate" in centre.operations
    ]
    return min(per_min) / max(removals) if removals and per_min else None
