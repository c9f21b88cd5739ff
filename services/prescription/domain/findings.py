"""Everything an estimator may say of a prescription: each kind of finding once, with severity, meaning and source."""

from __future__ import annotations

from dataclasses import dataclass

from services.prescription.domain.defaults import SOURCE as ISO_11
from shared_schemas.check import Finding, Severity

KAROW = "H. H. Karow, Fabrication Methods for Precision Optics (1993), p. 524"
PRACTICE = "common practice"


@dataclass(frozen=True)
class Kind:
    """A kind of finding: what it means, and where its limit comes from."""

    code: str
    severity: Severity
    meaning: str
    source: str


KINDS: dict[str, Kind] = {
    kind.code: kind
    for kind in (
        Kind("no_edge", "stop", "the surfaces cross inside the blank: there is no edge left", "derived"),
        Kind("thin_edge", "care", "the edge chips and flexes in work", "practice ranges, from memory"),
        Kind("no_hemisphere", "stop", "the surface is so steep at its clear diameter that no tool reaches it", "derived"),
        Kind("steep_surface", "care", "the surface is steep: worked singly, hard to coat evenly", "common practice, |R| <= 0.7 D"),
        Kind("flat_seat", "care", "the surface ends inside the diameter: a flat seat is cut around it", PRACTICE),
        Kind("nearly_flat", "note", "so shallow that a plane would be cheaper to make and to test", PRACTICE),
        Kind("thin_element", "note", "diameter to thickness above 10 raises the polishing cost", PRACTICE),
        Kind("flexing_element", "care", "diameter to thickness above 15: the blank bends under the polisher", PRACTICE),
        Kind("concentric", "care", "both centres of curvature nearly coincide: centring moves much glass for little", PRACTICE),
        Kind("hard_to_centre", "care", "bell chucks will not centre it by themselves: it is centred optically", KAROW),
        Kind("collision", "stop", "neighbouring surfaces touch or cross", "derived"),
        Kind("cement_mismatch", "care", "the cemented radii differ by more than a few fringes", "from memory, 3 to 5 fringes are usual"),
        Kind("cement_gap", "stop", "the cemented radii differ so much that no film of cement fills the gap", PRACTICE),
        Kind("cement_strain", "care", "the cemented glasses expand differently: the film is strained", "derived, film 10 um, 80 K"),
        Kind("unknown_glass", "stop", "the rates know no such glass, or several", "rate table glasses"),
        Kind("index_only", "care", "a glass known by index and Abbe number only is checked, but not priced", PRACTICE),
        Kind("wavelength", "stop", "the index is not known at that wavelength", "range of makers' measurements, from memory"),
        Kind("radioactive", "stop", "thoriated or other radioactive glass or coating is not shaped, ground or polished here",
             "10 CFR 40.13(c)(7): the exemption of finished lenses does not cover working them"),
        Kind("lead_glass", "care", "leaded glass: its sludge and dust are collected apart, and it is never worked dry", "maker's data sheet"),
        Kind("stains", "care", "the glass stains: less time wet between polishing and coating", "maker's data sheet, acid resistance class"),
        Kind("soft_glass", "note", "the glass is soft and scratches easily", "maker's data sheet, Knoop hardness"),
        Kind("expands", "note", "the glass expands much: it is heated and cooled slowly", "maker's data sheet, expansion"),
        Kind("default_tolerance", "note", "no tolerance is stated: the default of the standard is taken, which is loose", ISO_11),
        Kind("unreadable_indication", "stop", "an indication of the drawing cannot be read", "ISO 10110"),
        Kind("afocal", "note", "the lens has no focal length", "derived"),
        Kind("unknown_coating", "stop", "the rates know no such coating", "rate table coatings"),
        Kind("coated_cement", "care", "a coating is asked for on a cemented face", PRACTICE),
    )
}  # fmt: skip
"""Every kind of finding by its code."""


def finding(
    code: str, where: str, message: str, *, figure: float | str | None = None, limit: float | str | None = None, unit: str = "",
    repair: str | None = None,
) -> Finding:  # fmt: skip
    """A finding of a kind in the table; raises `KeyError` for any other."""
    kind = KINDS[code]
    return Finding(
        code=code,
        severity=kind.severity,
        where=where,
        message=message,
        figure=round(figure, 6) if isinstance(figure, float) else figure,
        limit=round(limit, 6) if isinstance(limit, float) else limit,
        unit=unit,
        source=kind.source,
        repair=repair,
    )
