"""Centring, `4/σ(L)`: the tilt of a face or an element against its datum axis, and a lateral displacement."""

from __future__ import annotations

from dataclasses import dataclass

from services.prescription.domain.indications.scanner import Scanner, written

MINUTES = ("'", "′", "’")
SECONDS = ('"', "″", "”", "''", "′′", "’’")
DEGREES = ("°",)


@dataclass(frozen=True)
class Centring:
    """Tilt [arcmin] and lateral displacement [mm]; `None` is not stated."""

    tilt_arcmin: float
    lateral_mm: float | None


def read_centring(text: str) -> Centring:
    """The demand of an indication such as `4/1'`, `4/30"`, `4/0,5'(0.02)`.

    Raises `IndicationUnreadable`; a number without a unit is one, because minutes and seconds are sixty apart.
    Source: ISO 10110-6, from memory.
    """
    scan = Scanner(text)
    scan.expect("4/")
    tilt = scan.number("σ (tilt)")
    if scan.took(*SECONDS):
        tilt /= 60
    elif scan.took(*DEGREES):
        tilt *= 60
    else:
        scan.expect(*MINUTES, called="' (minutes), \" (seconds) or ° (degrees)")
    lateral = None
    if scan.took("("):
        lateral = scan.number("L (lateral displacement in mm)")
        scan.expect(")")
    scan.end("(L) or the end")
    return Centring(tilt, lateral)


def write_centring(centring: Centring) -> str:
    """The indication in minutes of arc; reading it gives an equal demand."""
    lateral = "" if centring.lateral_mm is None else f"({written(centring.lateral_mm)})"
    return f"4/{written(centring.tilt_arcmin)}'{lateral}"
