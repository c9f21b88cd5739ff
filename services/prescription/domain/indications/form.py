"""Surface form, `3/A(B/C)`: power, irregularity and its rotationally symmetric part, in fringe spacings; and RMS terms."""

from __future__ import annotations

from dataclasses import dataclass

from services.prescription.domain.fringes import REFERENCE_NM
from services.prescription.domain.indications.scanner import Scanner, written

NONE_STATED = ("-", "–", "—")
RMS_SIGNS = ("RMSt", "RMSi", "RMSa")

PEAK_OVER_RMS = 5.0
"""Peak-to-valley over RMS of an error without one dominant shape (common practice). Used where a drawing states the RMS alone."""


@dataclass(frozen=True)
class Form:
    """What a form indication demands, in fringe spacings at 546.07 nm; `None` is not stated.

    `rms_total`, `rms_irregularity` and `rms_asymmetry` are the terms RMSt, RMSi and RMSa.
    """

    power_fringes: float | None
    irregularity_fringes: float | None
    rotational_fringes: float | None
    rms_total_fringes: float | None = None
    rms_irregularity_fringes: float | None = None
    rms_asymmetry_fringes: float | None = None

    @property
    def irregularity_demand_fringes(self) -> float | None:
        """Irregularity to plan for: as stated, else five times the RMS irregularity, else None."""
        if self.irregularity_fringes is not None or self.rms_irregularity_fringes is None:
            return self.irregularity_fringes
        return PEAK_OVER_RMS * self.rms_irregularity_fringes


def read_form(text: str) -> Form:
    """The demands of an indication such as `3/3(0.5)`, `3/-(1)`, `3/5(1/0.5) λ=632.8 nm`, `3/-(-) RMSi < 0.05`, `3/270nm(50nm)`.

    A dash is not stated. A figure is in fringe spacings unless `nm` follows it, or follows the bracket for all of them.
    Raises `IndicationUnreadable`. Fringes of another wavelength are turned into fringes of 546.07 nm.
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
    all_in_nm = scan.took("nm")
    rms = _rms_terms(scan, all_in_nm=all_in_nm)
    scale = _wavelength_nm(scan) / REFERENCE_NM
    figures = [_in_fringes(term, scale, all_in_nm=all_in_nm) for term in terms] + [None] * (3 - len(terms))
    return Form(*figures, *(_in_fringes(rms.get(sign), scale, all_in_nm=all_in_nm) for sign in RMS_SIGNS))


def _term(scan: Scanner, called: str) -> tuple[float, bool] | None:
    """A figure and whether it is in nanometres; None for a dash."""
    return None if scan.took(*NONE_STATED) else (scan.number(f"{called} or -"), scan.took("nm"))


def _rms_terms(scan: Scanner, *, all_in_nm: bool) -> dict[str, tuple[float, bool]]:
    found: dict[str, tuple[float, bool]] = {}
    while True:
        scan.took(";")
        sign = next((sign for sign in RMS_SIGNS if scan.took(sign)), None)
        if sign is None:
            return found
        if sign in found:
            scan.refuse(f"{sign} once only")
        scan.expect("<", "≤")
        found[sign] = (scan.number(f"the figure of {sign}"), scan.took("nm") or all_in_nm)


def _in_fringes(term: tuple[float, bool] | None, scale: float, *, all_in_nm: bool) -> float | None:
    if term is None:
        return None
    figure, in_nm = term
    return figure / (REFERENCE_NM / 2) if in_nm or all_in_nm else figure * scale


def _wavelength_nm(scan: Scanner) -> float:
    scan.took(";")
    if not scan.took("λ"):
        scan.end("(B/C), nm, RMSt, RMSi, RMSa, λ= or the end")
        return REFERENCE_NM
    scan.expect("=")
    wavelength = scan.number("a wavelength in nm")
    scan.took("nm")
    scan.end()
    return wavelength


def write_form(form: Form, *, head: str = "3/") -> str:
    """The indication in fringe spacings at 546.07 nm; reading it gives an equal form."""
    figures = [form.power_fringes, form.irregularity_fringes, form.rotational_fringes]
    text = head + _shown(figures[0])
    if figures[1] is not None or figures[2] is not None:
        inner = _shown(figures[1]) + (f"/{_shown(figures[2])}" if figures[2] is not None else "")
        text += f"({inner})"
    rms = (form.rms_total_fringes, form.rms_irregularity_fringes, form.rms_asymmetry_fringes)
    return text + "".join(f"; {sign} < {_shown(figure)}" for sign, figure in zip(RMS_SIGNS, rms, strict=True) if figure is not None)


def _shown(figure: float | None) -> str:
    return "-" if figure is None else written(figure)
