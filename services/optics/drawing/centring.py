"""Centring, `4/σ(L)`: the tilt of a face or an element against its datum axis, and a lateral displacement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from services.optics.drawing.scanner import Scanner, written

MINUTES = ("'", "′", "’", "min")
SECONDS = ('"', "″", "”", "''", "′′", "’’")
DEGREES = ("°",)

Unit = Literal["'", '"', "°"]


@dataclass(frozen=True)
class Centring:
    """Tilt in the unit it is stated in, minutes, seconds or degrees of arc, and lateral displacement [mm]; `None` is not stated."""

    tilt: float
    lateral_mm: float | None = None
    unit: Unit = "'"

    @property
    def tilt_arcmin(self) -> float:
        """The tilt in minutes of arc."""
        if self.unit == '"':
            return self.tilt / 60
        return self.tilt * 60 if self.unit == "°" else self.tilt


def read_centring(text: str) -> Centring:
    """The demand of an indication such as `4/1'`, `4/30"`, `4/0,5'(0.02)`.

    Raises `IndicationUnreadable`; a number without a unit is one, because minutes and seconds are sixty apart.
    Source: ISO 10110-6, from memory.
    """
    scan = Scanner(text)
    scan.expect("4/")
    tilt = scan.number("σ (tilt)")
    unit: Unit = "'"
    if scan.took(*SECONDS):
        unit = '"'
    elif scan.took(*DEGREES):
        unit = "°"
    else:
        scan.expect(*MINUTES, called="' or min (minutes), \" (seconds) or ° (degrees)")
    lateral = None
    if scan.took("("):
        lateral = scan.number("L (lateral displacement in mm)")
        scan.expect(")")
    scan.end("(L) or the end")
    return Centring(tilt, lateral, unit)


def write_centring(centring: Centring) -> str:
    """The indication in the unit it was stated in; reading it gives an equal demand."""
    lateral = "" if centring.lateral_mm is None else f"({written(centring.lateral_mm)})"
    return f"4/{written(centring.tilt)}{centring.unit}{lateral}"
