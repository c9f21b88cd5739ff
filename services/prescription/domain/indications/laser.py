"""Resistance to laser radiation, `6/`: kept as it is written, with the figures that can be told apart."""

from __future__ import annotations

from dataclasses import dataclass

from services.prescription.domain.indications.scanner import Scanner, written

DENSITY_UNITS = ("J/cm²", "J/cm2", "W/cm²", "W/cm2", "MW/cm²", "MW/cm2", "kW/cm²", "kW/cm2")


@dataclass(frozen=True)
class LaserResistance:
    """`6/` density and its unit, wavelength [nm], and the rest (pulse, mode, number) as it is written."""

    density: float
    unit: str
    wavelength_nm: float
    rest: str


def read_laser(text: str) -> LaserResistance:
    """`6/10 J/cm2; 1064 nm; 10 ns; 1-on-1`. Raises `IndicationUnreadable`. Source: ISO 10110-17, from memory."""
    scan = Scanner(text)
    scan.expect("6/")
    density = scan.number("an energy or power density")
    unit = next((one for one in DENSITY_UNITS if scan.took(one)), None)
    if unit is None:
        scan.refuse(" or ".join(DENSITY_UNITS))
    scan.expect(";")
    wavelength = scan.number("the wavelength in nm")
    scan.took("nm")
    rest = scan.rest().removeprefix(";").strip() if scan.took(";") else ""
    scan.end("; or the end")
    return LaserResistance(density, unit.replace("²", "2"), wavelength, rest)


def write_laser(found: LaserResistance) -> str:
    """The indication; reading it gives an equal demand."""
    tail = f"; {found.rest}" if found.rest else ""
    return f"6/{written(found.density)} {found.unit}; {written(found.wavelength_nm)} nm{tail}"
