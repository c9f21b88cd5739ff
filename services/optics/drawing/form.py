"""Surface form, `3/A(B/C)`: power, irregularity and its rotationally symmetric part, in fringe spacings or nanometres; and RMS terms."""

from __future__ import annotations

import math
from dataclasses import dataclass

from services.optics.drawing.scanner import NONE_STATED, Scanner, written
from services.optics.fringes import REFERENCE_NM

RMS_SIGNS = ("RMSt", "RMSi", "RMSa")
LAMBDA = ("λ", "lambda")
SHORTEST_NM, LONGEST_NM = 100.0, 20_000.0

PEAK_OVER_RMS = 5.0
"""Peak-to-valley over RMS of an error without one dominant shape (common practice). Used where a drawing states the RMS alone."""

POWER_OVER_RMS = 2 * math.sqrt(3)
"""Sagitta error over RMS of pure power on a round face: the RMS of rho^2 about its mean is 1/sqrt(12) (derived)."""


@dataclass(frozen=True)
class Stated:
    """A figure as it stands on the drawing: fringe spacings, or nanometres."""

    figure: float
    in_nm: bool = False


@dataclass(frozen=True)
class Form:
    """What a form indication states, in its own units and for its own wavelength [nm]; `None` is not stated.

    `rms_total`, `rms_irregularity` and `rms_asymmetry` are the terms RMSt, RMSi and RMSa. The properties give every term in
    fringe spacings at 546.07 nm.
    """

    power: Stated | None = None
    irregularity: Stated | None = None
    rotational: Stated | None = None
    rms_total: Stated | None = None
    rms_irregularity: Stated | None = None
    rms_asymmetry: Stated | None = None
    wavelength_nm: float = REFERENCE_NM

    @property
    def power_fringes(self) -> float | None:
        """A as stated."""
        return self._fringes(self.power)

    @property
    def irregularity_fringes(self) -> float | None:
        """B as stated."""
        return self._fringes(self.irregularity)

    @property
    def rotational_fringes(self) -> float | None:
        """C as stated."""
        return self._fringes(self.rotational)

    @property
    def rms_total_fringes(self) -> float | None:
        """RMSt as stated."""
        return self._fringes(self.rms_total)

    @property
    def rms_irregularity_fringes(self) -> float | None:
        """RMSi as stated."""
        return self._fringes(self.rms_irregularity)

    @property
    def rms_asymmetry_fringes(self) -> float | None:
        """RMSa as stated."""
        return self._fringes(self.rms_asymmetry)

    @property
    def irregularity_rms_sign(self) -> str | None:
        """The RMS term that the irregularity to plan for is taken from; None where it is stated, or nothing is.

        Notes: RMSi is of the irregularity itself, RMSt covers it with power, RMSa is a part of it: in this order.
        """
        if self.irregularity is not None:
            return None
        terms = (("RMSi", self.rms_irregularity), ("RMSt", self.rms_total), ("RMSa", self.rms_asymmetry))
        return next((sign for sign, term in terms if term is not None), None)

    @property
    def irregularity_demand_fringes(self) -> float | None:
        """Irregularity to plan for: as stated, else five times an RMS term, else None."""
        terms = {"RMSi": self.rms_irregularity, "RMSt": self.rms_total, "RMSa": self.rms_asymmetry}
        sign = self.irregularity_rms_sign
        rms = None if sign is None else self._fringes(terms[sign])
        return self.irregularity_fringes if rms is None else PEAK_OVER_RMS * rms

    @property
    def power_demand_fringes(self) -> float | None:
        """Power to plan for: as stated, else the most that RMSt leaves room for, else None."""
        if self.power is not None or self.rms_total is None:
            return self.power_fringes
        rms = self._fringes(self.rms_total)
        return None if rms is None else POWER_OVER_RMS * rms

    def _fringes(self, term: Stated | None) -> float | None:
        if term is None:
            return None
        return term.figure / (REFERENCE_NM / 2) if term.in_nm else term.figure * self.wavelength_nm / REFERENCE_NM


def read_form(text: str) -> Form:
    """The demands of an indication such as `3/3(0.5)`, `3/-(1)`, `3/5(1/0.5); λ = 632.8 nm`, `3/-; RMSi < 0.05`, `3/270nm(50nm)`.

    A dash is not stated. A figure is in fringe spacings unless `nm` follows it, or follows the bracket for all of them; they
    are spacings at 546.07 nm unless a wavelength is stated. Raises `IndicationUnreadable`.
    Source: ISO 10110-5, from memory.
    """
    return _form(Scanner(text), "3/")


def read_transmitted_wavefront(text: str) -> Form:
    """`13/A(B/C)`: deformation of the wavefront that a part or a lens transmits, written as a form.

    Figures are in fringe spacings of the wavefront (half a wavelength). Raises `IndicationUnreadable`.
    Source: ISO 10110-14, from memory.
    """
    return _form(Scanner(text), "13/")


def _form(scan: Scanner, head: str) -> Form:
    scan.expect(head)
    terms = [_term(scan, "A (power)")]
    if scan.took("("):
        terms.append(_term(scan, "B (irregularity)"))
        if scan.took("/"):
            terms.append(_term(scan, "C (rotationally symmetric irregularity)"))
        scan.expect(")", called=") or /" if len(terms) == 2 else ")")
    if scan.took("nm"):
        terms = [None if term is None else Stated(term.figure, in_nm=True) for term in terms]
        rms = _rms_terms(scan, all_in_nm=True)
    else:
        rms = _rms_terms(scan, all_in_nm=False)
    wavelength_nm = _wavelength_nm(scan)
    power, irregularity, rotational = [*terms, None, None][:3]
    total, irregular, asymmetric = (rms.get(sign) for sign in RMS_SIGNS)
    return Form(power, irregularity, rotational, total, irregular, asymmetric, wavelength_nm)


def _term(scan: Scanner, called: str) -> Stated | None:
    """A figure, or None for a dash."""
    return None if scan.took(*NONE_STATED) else Stated(scan.number(f"{called} or -"), scan.took("nm"))


def _rms_terms(scan: Scanner, *, all_in_nm: bool) -> dict[str, Stated]:
    found: dict[str, Stated] = {}
    while True:
        before = scan.at
        scan.took(";")
        sign = next((sign for sign in RMS_SIGNS if scan.took(sign)), None)
        if sign is None:
            scan.at = before
            return found
        if sign in found:
            scan.refuse(f"{sign} once only")
        scan.expect("<", "≤")
        found[sign] = Stated(scan.number(f"the figure of {sign}"), scan.took("nm") or all_in_nm)


def _wavelength_nm(scan: Scanner) -> float:
    after_sign = scan.took(";", ",")
    if not scan.took(*LAMBDA):
        if after_sign:
            scan.refuse("RMSt, RMSi, RMSa or λ=")
        scan.end("(B/C), nm, RMSt, RMSi, RMSa, λ= or the end")
        return REFERENCE_NM
    scan.expect("=")
    wavelength = scan.number("a wavelength in nm", least=SHORTEST_NM, most=LONGEST_NM)
    scan.took("nm")
    scan.end()
    return wavelength


def write_form(form: Form, *, head: str = "3/") -> str:
    """The indication in the units and for the wavelength it was stated in; reading it gives an equal form."""
    text = head + _shown(form.power)
    if form.irregularity is not None or form.rotational is not None:
        rotational = "" if form.rotational is None else f"/{_shown(form.rotational)}"
        text += f"({_shown(form.irregularity)}{rotational})"
    terms = (form.rms_total, form.rms_irregularity, form.rms_asymmetry)
    text += "".join(f"; {sign} < {_shown(term)}" for sign, term in zip(RMS_SIGNS, terms, strict=True) if term is not None)
    return text if form.wavelength_nm == REFERENCE_NM else f"{text}; λ = {written(form.wavelength_nm)} nm"


def _shown(term: Stated | None) -> str:
    return "-" if term is None else written(term.figure) + ("nm" if term.in_nm else "")
