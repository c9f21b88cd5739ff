"""Limits of an outer diameter by the symbols of ISO 286, such as h7 and g6."""

from __future__ import annotations

import re
from decimal import Decimal

STEPS_MM = (3, 6, 10, 18, 30, 50, 80, 120)
"""Upper ends of the ranges of nominal size [mm], each included."""

GRADES_UM = {
    4: (3, 4, 4, 5, 6, 7, 8, 10),
    5: (4, 5, 6, 8, 9, 11, 13, 15),
    6: (6, 8, 9, 11, 13, 16, 19, 22),
    7: (10, 12, 15, 18, 21, 25, 30, 35),
    8: (14, 18, 22, 27, 33, 39, 46, 54),
    9: (25, 30, 36, 43, 52, 62, 74, 87),
    10: (40, 48, 58, 70, 84, 100, 120, 140),
    11: (60, 75, 90, 110, 130, 160, 190, 220),
    12: (100, 120, 150, 180, 210, 250, 300, 350),
    13: (140, 180, 220, 270, 330, 390, 460, 540),
}
"""Width of the tolerance [um] by grade (IT4 to IT13) and range. ISO 286-1:2010, table 1, from memory."""

UPPER_UM = {
    "d": (-20, -30, -40, -50, -65, -80, -100, -120),
    "e": (-14, -20, -25, -32, -40, -50, -60, -72),
    "f": (-6, -10, -13, -16, -20, -25, -30, -36),
    "g": (-2, -4, -5, -6, -7, -9, -10, -12),
    "h": (0, 0, 0, 0, 0, 0, 0, 0),
}
"""Upper limit of a shaft [um] by letter and range. ISO 286-1:2010, table 4, from memory."""

FIT = re.compile(r"(?P<letter>js|[d-h])\s?(?P<grade>[0-9]{1,2})")
HOLE = re.compile(r"(?:JS|[A-HJ-Z])\s?[0-9]{1,2}")


def limits_mm(fit: str, *, diameter_mm: Decimal) -> tuple[Decimal, Decimal] | None:
    """Upper and lower limit [mm] of a shaft of that fit; `None` for a letter, grade or diameter that is not in the tables.

    Source: ISO 286-1 and -2, from memory. js lies evenly about the nominal; an odd width is halved as ISO 286-1 says it.
    """
    found = FIT.fullmatch(fit.strip())
    step = next((i for i, most in enumerate(STEPS_MM) if diameter_mm <= most), None)
    if found is None or step is None or diameter_mm <= 0 or int(found["grade"]) not in GRADES_UM:
        return None
    width = Decimal(GRADES_UM[int(found["grade"])][step])
    upper = width / 2 if found["letter"] == "js" else Decimal(UPPER_UM[found["letter"]][step])
    return upper / 1000, (upper - width) / 1000
