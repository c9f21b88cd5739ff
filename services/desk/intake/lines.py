"""Lines above, below and between the rows of a table: the customer, quantities, a wavelength, the unit of all lengths, a title."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from services.chassis.problems import clean
from services.desk.intake import units
from services.desk.intake.grid import Cell

KEYS = {
    "units": "units|unit|einheit|einheiten|unités?|maßeinheit",
    "title": "title|titel|titre|lens|objektiv|objective|objectif|project|projekt|projet|lens name|system|name|design|description|bezeichnung|désignation|part|part name",
    "customer": "customer|kunde|client|company|firma|société|customer name",
    "quantities": "quantit(?:y|ies)|qty|menge|mengen|stückzahl|stückzahlen|stück|quantités?|qté|pcs|pieces|lot sizes?|losgrößen?|volumes?|anzahl",
    "wavelength_nm": "wavelength(?:_nm)?|design wavelength|wellenlänge|longueur d.onde|λ|lambda|wavelength \\(nm\\)|reference wavelength|primary wavelength",
    "entrance_pupil_diameter_mm": "entrance_pupil_diameter(?:_mm)?|entrance pupil(?: diameter)?|epd|eintrittspupille|pupille d.entrée",
    "field_half_angle_deg": "field_half_angle(?:_deg)?|half field(?: angle)?|field half angle|half fov|hfov|halber feldwinkel|demi.champ",
    "object_distance_mm": "object_distance(?:_mm)?|object distance|objektabstand|distance objet",
    "needed_by": "needed by|needed_by|required by|delivery date|due date|liefertermin|wunschtermin|termin|date de livraison|need date|delivery by|delivery",
    "reference": "reference|ref|your ref|our ref|rfq|rfq no|rfq number|inquiry|enquiry|anfrage|anfragenummer|angebotsanfrage|référence|po|po number|drawing|drawing no|"
    "drawing number|zeichnung|zeichnungsnummer|zeichnungs-nr|plan|part number|part no|p/n|pn|article|artikelnummer|demande",
    "contact": "contact|attn|attention|ansprechpartner|kontakt|e-?mail|mail|buyer|einkäufer|requested by|from",
    "currency": "currency|währung|devise",
}  # fmt: skip
KEY = {field: re.compile(rf"\W*(?:{words})(?:\s*(?:no|nr|n°|#))?\W*", re.IGNORECASE) for field, words in KEYS.items()}
LONGEST = 300
"""Characters of a line in which a unit is looked for."""

PAIR = re.compile(r"^\W*(?P<key>[^:=;,\t]{1,40}?)\s*[:=;,\t]\s*(?P<value>.*?)[\s;,]*$", re.DOTALL)
NUMBERED = re.compile(
    r"\W*(?P<key>rfq|request for quotation|inquiry|enquiry|anfrage|anfragenummer|demande)\s+(?:no\.?|nr\.?|n°|#)?\s*(?P<value>[\w./-]*\d[\w./-]*)\s*",
    re.IGNORECASE,
)
"""The number of a request, without a sign between: `RFQ 2026-118`."""

NOT_NEEDED = {
    "date": "the day of the table is not that of the quote",
    "datum": "the day of the table is not that of the quote",
    "page": "a number of a page",
    "seite": "a number of a page",
    "rev": "the revision of a drawing is kept with the drawing",
    "revision": "the revision of a drawing is kept with the drawing",
    "focal length": "the focal length follows from the surfaces",
    "efl": "the focal length follows from the surfaces",
    "brennweite": "the focal length follows from the surfaces",
    "focale": "the focal length follows from the surfaces",
    "distance focale": "the focal length follows from the surfaces",
    "f/#": "the aperture follows from the stop and the diameters",
    "f-number": "the aperture follows from the stop and the diameters",
    "f number": "the aperture follows from the stop and the diameters",
    "fno": "the aperture follows from the stop and the diameters",
    "blendenzahl": "the aperture follows from the stop and the diameters",
    "bfl": "the back focal length follows from the surfaces",
    "drawn by": "who drew it does not change it",
    "prepared by": "who wrote it does not change it",
    "designer": "who drew it does not change it",
    "author": "who drew it does not change it",
}
"""Heads of lines that say nothing a quote needs, and why."""


@dataclass(frozen=True)
class Line:
    """One line that is no row of a table: its cells, and its text in one."""

    number: int
    cells: tuple[Cell, ...]

    @property
    def text(self) -> str:
        """The text of the line; of several cells the first is what the others are of."""
        first, *rest = (clean(" ".join(cell.text.split())) for cell in self.cells)
        if not rest:
            return first
        return f"{first.rstrip(' :=')}: " + ", ".join(rest)


def pair_of(line: Line) -> tuple[str, str] | None:
    """The field of a line such as `Customer: Meyer` and what stands there; a key nobody knows is given as it is written, `None` without one."""
    match = PAIR.match(line.text.lstrip("# ")) or NUMBERED.fullmatch(line.text.lstrip("# "))
    if match is None or not match["value"].strip():
        return None
    key = match["key"].strip(" -*#.")
    field = next((field for field, pattern in KEY.items() if pattern.fullmatch(key)), key.lower())
    return field, match["value"].strip()


def is_keyed(cells: tuple[Cell, ...]) -> bool:
    """Whether a row begins with a word that names something of the whole, so that it is no row of a table."""
    pair = pair_of(Line(0, cells)) if cells and not cells[0].text[:1].isdigit() else None
    return pair is not None and (pair[0] in KEYS or pair[0] in NOT_NEEDED)


def stated_unit(line: Line) -> Decimal | None:
    """The mm of the unit that a line says all lengths are in."""
    pair = pair_of(line)
    if pair is not None and pair[0] == "units":
        return units.mm_per(pair[1])
    match = units.STATED.search(line.text[:LONGEST])
    return units.mm_per(match["unit"]) if match is not None else None


def value_of(field: str, text: str) -> Any:
    """What a field of the request or the prescription gets from the text of its line; `None` where it says nothing clear."""
    if field == "wavelength_nm":
        return _wavelength_nm(text)
    if field in ("entrance_pupil_diameter_mm", "field_half_angle_deg", "object_distance_mm"):
        match = re.fullmatch(r"([0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)\s*(?:mm|°|deg(?:rees)?)?", text.strip())
        return float(match[1].replace(",", ".")) if match is not None else None
    if field == "currency":
        return text.strip() if re.fullmatch(r"[A-Z]{3}", text.strip()) else {"€": "EUR", "$": "USD"}.get(text.strip())
    return text.strip()[:200]


def _wavelength_nm(text: str) -> float | None:
    match = re.fullmatch(r"([0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)\s*(nm|[µμu]m)?", text.strip())
    if match is None:
        return None
    value = Decimal(match[1].replace(",", "."))
    return float(value * 1000 if match[2] not in (None, "nm") else value)
