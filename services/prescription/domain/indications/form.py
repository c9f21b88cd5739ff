"""Surface form, `3/A(B/C)`: power, irregularity and its rotationally symmetric part, in fringe spacings."""

from __future__ import annotations

from dataclasses import dataclass

from services.prescription.domain.fringes import REFERENCE_NM
from services.prescription.domain.indications.scanner import Scanner

NONE_STATED = ("-", "–", "—")


@dataclass(frozen=True)
class Form:
    """What a form indication demands, in fringe spacings at 546.07 nm; `None` is not stated."""

    power_fringes: float | None
    irregularity_fringes: float | None
    rotational_fringes: float | None


def read_form(text: str) -> Form:
    """The demands of an indication such as `3/3(0.5)`, `3/-(1)`, `3/5(1/0.5) λ=632.8 nm`; a dash is not stated.

    Raises `IndicationUnreadable`. Fringes of another wavelength are turned into fringes of 546.07 nm.
    Source: ISO 10110-5, from memory.
    """
    scan = Scanner(text)
    scan.expect("3/")
    power = _term(scan, "A (power)")
    irregularity = rotational = None
    if scan.took("("):
        irregularity = _term(scan, "B (irregularity)")
        if scan.took("/"):
            rotational = _term(scan, "C (rotationally symmetric irregularity)")
        scan.expect(")", called=") or /" if rotational is None else ")")
    scale = _wavelength_nm(scan) / REFERENCE_NM
    return Form(*(None if term is None else term * scale for term in (power, irregularity, rotational)))


def _term(scan: Scanner, called: str) -> float | None:
    return None if scan.took(*NONE_STATED) else scan.number(f"{called} or -")


def _wavelength_nm(scan: Scanner) -> float:
    scan.took(";")
    if not scan.took("λ"):
        scan.end("(B/C), λ= or the end")
        return REFERENCE_NM
    scan.expect("=")
    wavelength = scan.number("a wavelength in nm")
    scan.took("nm")
    scan.end()
    return wavelength
