"""Resistance to laser radiation, `6/`: kept as it is written, with the figures that can be told apart."""

from __future__ import annotations

import re
from dataclasses import dataclass

from services.optics.drawing.scanner import Scanner, written

DENSITIES = ("J", "mJ", "W", "kW", "MW", "GW")
AREAS = ("/cm2", "/cm²", "/cm^2")

NS_PER = {"fs": 1e-6, "ps": 1e-3, "ns": 1.0, "us": 1e3, "µs": 1e3, "μs": 1e3, "ms": 1e6}
PULSE = re.compile(r"(\d{1,9}(?:[.,]\d{1,9})?)\s*(fs|ps|ns|us|µs|μs|ms)", re.ASCII)


@dataclass(frozen=True)
class LaserResistance:
    """`6/` density and its unit, wavelength [nm], and the other pieces (pulse, mode, number) as they are written."""

    density: float
    unit: str
    wavelength_nm: float
    rest: str

    @property
    def pulse_duration_ns(self) -> float | None:
        """The one piece that is a duration [ns]; None where there is none or more than one."""
        given = [match for match in map(PULSE.fullmatch, self.rest.split("; ")) if match is not None]
        if len(given) != 1:
            return None
        return float(given[0].group(1).replace(",", ".")) * NS_PER[given[0].group(2)]


def read_laser(text: str) -> LaserResistance:
    """`6/10 J/cm2; 1064 nm; 10 ns; 1-on-1`. Raises `IndicationUnreadable`. Source: ISO 10110-17, from memory."""
    scan = Scanner(text)
    scan.expect("6/")
    density = scan.number("an energy or power density")
    unit = next((one for one in DENSITIES for area in AREAS if scan.took(one + area)), None)
    if unit is None:
        scan.refuse(" or ".join(f"{one}/cm2" for one in DENSITIES))
    scan.expect(";")
    wavelength = scan.number("the wavelength in nm")
    scan.took("nm")
    pieces = scan.rest().split(";") if scan.took(";") else []
    scan.end("; or the end")
    return LaserResistance(density, f"{unit}/cm2", wavelength, "; ".join(piece.strip() for piece in pieces if piece.strip()))


def write_laser(found: LaserResistance) -> str:
    """The indication; reading it gives an equal demand."""
    tail = f"; {found.rest}" if found.rest else ""
    return f"6/{written(found.density)} {found.unit}; {written(found.wavelength_nm)} nm{tail}"
