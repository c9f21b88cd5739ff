"""One diameter of an element is enough: the other follows by a rule that is told."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

LEAST_MARGIN_MM = Decimal(1)
MARGIN_SHARE = Decimal("0.1")
TENTH = Decimal("0.1")
OUTER_RULE = (
    f"a diameter is the larger clear diameter and a tenth of it, at least {LEAST_MARGIN_MM} mm, up to the next tenth of a mm "
    "(for coating, mount and bevel; common practice)"
)
CLEAR_RULE = (
    f"a clear diameter leaves a tenth of itself of the diameter, at least {LEAST_MARGIN_MM} mm, down to the next tenth of a mm "
    "(for coating, mount and bevel; common practice)"
)


def outer_diameter_mm(clear_diameter_mm: Decimal) -> Decimal:
    """The diameter of an element around its larger clear diameter [mm]: `OUTER_RULE`."""
    margin_mm = max(LEAST_MARGIN_MM, MARGIN_SHARE * clear_diameter_mm)
    return (clear_diameter_mm + margin_mm).quantize(TENTH, ROUND_CEILING)


def clear_diameter_mm(outer_diameter_mm: Decimal) -> Decimal | None:
    """The clear diameter within a diameter [mm]: `CLEAR_RULE`; `None` where nothing is left."""
    clear_mm = min(outer_diameter_mm - LEAST_MARGIN_MM, outer_diameter_mm / (1 + MARGIN_SHARE)).quantize(TENTH, ROUND_FLOOR)
    return clear_mm if clear_mm > 0 else None
