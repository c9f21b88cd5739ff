"""Units of length: behind a number, at the end of a head, in a line of their own."""

from __future__ import annotations

import re
from decimal import Decimal

MM = Decimal(1)
INCH = Decimal("25.4")
WORDS = {
    "mm millimetre millimeter millimetres millimeters millimètre millimètres": MM,
    "cm centimetre centimeter zentimeter centimètre centimètres": Decimal(10),
    "m metre meter metres meters mètre mètres": Decimal(1000),
    "µm um μm micron microns mikrometer micrometre micrometer": Decimal("0.001"),
    "in in. inch inches zoll pouce pouces \" ″ ''": INCH,
}
MM_PER = {word: mm for words, mm in WORDS.items() for word in words.split()}
SHOWN = {MM: "mm", INCH: "inch", Decimal(10): "cm", Decimal(1000): "m", Decimal("0.001"): "µm"}

UNIT_IN_CELL = re.compile(
    r"\s*(?P<unit>mm|cm|[µμu]m|m(?![a-zA-Z])|inches|inch|zoll|pouces?|in\.?(?![a-zA-Z])|\"|″|'')(?![a-zA-Z0-9])\.?", re.IGNORECASE
)
STATED = re.compile(
    r"\b(?:units?|dimensions?|dims?\.?|lengths?|all|alle|maße|maßangaben|masse|massangaben|einheit(?:en)?|angaben|längen|abmessungen|unités?|"
    r"cotes|longueurs)\b[^0-9]*?(?:\bare\b|\bin\b|\ben\b|:|=|,|;|\t|\[|\()\s*(?P<unit>[a-zµμ\"″è]+\.?)\s*[\])]?\W*$",
    re.IGNORECASE,
)
"""A line that says the unit of all lengths: `all dimensions in mm`, `Maße in Zoll`, `unités: mm`."""


def mm_per(word: str) -> Decimal | None:
    """How many mm the unit of a word has; `None` where it is none."""
    return MM_PER.get(word.strip().strip("()[]").strip().lower())


def shown(unit_mm: Decimal) -> str:
    """The word for a unit."""
    return SHOWN.get(unit_mm, f"{unit_mm} mm")
