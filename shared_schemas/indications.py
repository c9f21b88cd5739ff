"""How ISO 10110 indications are written, for telling a slip of the pen at the door. What one means the prescription service says.

What follows a pattern may still be refused by that service, as a figure of 0 is; what it reads always follows its pattern.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from shared_schemas.prescription import Prescription
from shared_schemas.problem import ProblemDetail

_NUMBER = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
_NONE = "[-–—]"
_TERM = f"(?:{_NONE}|{_NUMBER} (?:nm)?)"
_ALLOWED = f"[0-9]{{1,6}} [x×X] {_NUMBER}"
_FORM = (
    rf"{_TERM} (?:\( {_TERM} (?:/ {_TERM})? \))? (?:nm)? (?:;? RMS[tia] [<≤] {_NUMBER} (?:nm)? )*"
    rf"(?:[;,]? (?:λ|lambda) = {_NUMBER} (?:nm)?)?"
)
_IMPERFECTIONS = f"{_ALLOWED} (?:; (?:[CL] {_ALLOWED}|[EW] {_NUMBER}) )*"
_SCRATCH_DIG = "(?:S-D )?(?:[1-9][0-9]{0,3} -|(?:10|20|40|60|80|120) /) [0-9]{1,4}"
_ROUGHNESS = f"R[qazt] [<≤]? {_NUMBER} (?:nm|[uµμ]m)"
_DENSITY = r"(?:[mkMG]?W|m?J)/cm(?:2|²|\^2)"


@dataclass(frozen=True)
class Notation:
    """How an indication is written: a regular expression in which a blank stands for blanks or none, in words, and an example."""

    pattern: str
    words: str
    example: str

    def is_followed_by(self, text: str) -> bool:
        """Whether a text is written so."""
        return re.fullmatch(self.pattern.replace(" ", " ?"), " ".join(text.split())) is not None


NOTATIONS: dict[str, Notation] = {
    "form": Notation(f"3/ {_FORM}", "3/A(B/C)", "3/4(1)"),
    "imperfections": Notation(f"5/ {_IMPERFECTIONS}|{_SCRATCH_DIG}", "5/NxA; C NxA; L NxA; E A, or scratch-dig", "5/3x0.16"),
    "texture": Notation(f"(?:P [1-4]?|G)(?: ; {_ROUGHNESS})?|{_ROUGHNESS}", "P with a grade 1 to 4, G, or a roughness", "P3; Rq 2 nm"),
    "laser_damage": Notation(
        f"6/ {_NUMBER} {_DENSITY} ; {_NUMBER} (?:nm)? (?:;.*)?", "6/density; wavelength; pulse", "6/10 J/cm2; 1064 nm; 10 ns"
    ),
    "centring": Notation(rf"""4/ {_NUMBER} (?:['′’]{{1,2}}|min|["″”]|°) (?:\( {_NUMBER} \))?""", "4/σ(L), with ', \" or ° behind σ", "4/2'"),
    "stress_birefringence": Notation(f"0/ (?:{_NONE}|{_NUMBER} (?:nm/cm)?)", "0/A", "0/10"),
    "bubbles": Notation(f"1/ (?:{_NONE}|{_ALLOWED})", "1/NxA", "1/3x0.16"),
    "inhomogeneity": Notation(f"2/ (?:{_NONE}|[0-5]) ; (?:{_NONE}|[1-5])", "2/A;B", "2/1;2"),
    "transmitted_wavefront": Notation(f"13/ {_FORM}", "13/A(B/C)", "13/1(0.5)"),
    "assembly_imperfections": Notation(f"15/ {_IMPERFECTIONS}", "15/NxA; L NxA", "15/3x0.16"),
}  # fmt: skip
"""Every field of a prescription that holds an indication. Source: ISO 10110-5 to -9, -14, -17, -18, from memory."""


def slips_of_notation(prescription: Prescription) -> Iterator[ProblemDetail]:
    """Every indication that is not written as one, at its JSON pointer into the prescription."""
    for pointer, text in _indications(prescription):
        notation = NOTATIONS[pointer.rsplit("/", maxsplit=1)[1]]
        if text is not None and not notation.is_followed_by(text):
            yield ProblemDetail(
                pointer=pointer,
                reason=f"{text} is no indication of the kind {notation.words}",
                figure=text,
                limit=notation.words,
                remedy=f"write it as {notation.example}",
            )


def _indications(prescription: Prescription) -> Iterator[tuple[str, str | None]]:
    for i, element in enumerate(prescription.elements):
        for face, surface in (("front", element.front), ("back", element.back)):
            for name in ("form", "imperfections", "texture", "laser_damage"):
                yield f"/elements/{i}/{face}/{name}", getattr(surface, name)
        yield f"/elements/{i}/tolerances/centring", element.tolerances.centring
        for name in ("stress_birefringence", "bubbles", "inhomogeneity"):
            yield f"/elements/{i}/{name}", getattr(element, name)
    yield "/transmitted_wavefront", prescription.transmitted_wavefront
    yield "/assembly_imperfections", prescription.assembly_imperfections
