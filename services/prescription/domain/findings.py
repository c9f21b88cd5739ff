"""The catalogue of findings: every code with its severity, what it means and where the rule comes from."""

from __future__ import annotations

from dataclasses import dataclass

from services.prescription.domain.defaults import FROM_MEMORY
from shared_schemas.check import Finding, Severity

PRACTICE = "common practice"
RECALLED = "common practice, from memory"
GEOMETRY = "derived from the geometry"


@dataclass(frozen=True)
class Entry:
    """What a finding code stands for."""

    severity: Severity
    meaning: str
    source: str


CATALOGUE: dict[str, Entry] = {
    "size-unmakeable": Entry("stop", "A size so small that no part of it can be held and worked.", PRACTICE),
    "size-beyond-shop": Entry("stop", "The diameter lies beyond the allowances that the shop has rates for.", "rate table allowances"),
    "glass-unknown": Entry("stop", "The rates have no glass of this name or code.", "rate table glasses"),
    "glass-ambiguous": Entry("stop", "Several glasses share this code; it must be said which is meant.", "rate table glasses"),
    "glass-radioactive": Entry(
        "stop",
        "Thoriated or otherwise radioactive material is named. It is not shaped, ground, polished or re-worked on the ground of a quote.",
        "10 CFR 40.13(c)(7) as quoted at https://www.coherent.com/thorium-safety and in trade discussion; local law decides",
    ),
    "glass-by-index": Entry("care", "The glass is known by index and Abbe number only: checked, not priced.", PRACTICE),
    "glass-by-code": Entry("note", "The glass was found by its code.", "rate table glasses"),
    "glass-lead": Entry(
        "care",
        "Glass that contains lead: work wet, collect slurry separately, check the current rules on hazardous substances.",
        "makers' data sheets; Directive (EU) 2017/1011 on the exemption of optical glass",
    ),
    "glass-soft": Entry("care", "A soft glass: it scratches when it is handled, cleaned and polished.", PRACTICE),
    "glass-stains": Entry("care", "A glass that stains or weathers: it is polished late, cleaned fast and coated soon.", PRACTICE),
    "glass-expands": Entry("care", "A glass that expands much: it breaks when it is heated or cooled fast.", PRACTICE),
    "wavelength-outside-glass": Entry("care", "The index of a glass is not known at the wavelength; figures are for the d line.", "makers' data sheets"),
    "index-estimated": Entry("note", "The index at the wavelength is estimated from index and Abbe number.", "Cauchy's formula with two terms, derived"),
    "indication-unreadable": Entry("stop", "A drawing indication that cannot be read.", "ISO 10110-5, -6, -7, from memory"),
    "tolerance-defaulted": Entry("note", "A tolerance is not stated and takes a default, which is loose.", FROM_MEMORY),
    "tolerance-without-default": Entry("stop", "A tolerance is not stated and the part is larger than the table of defaults.", FROM_MEMORY),
    "scratch-dig-kept": Entry(
        "care",
        "A scratch-dig figure is kept as given; time is planned by its dig alone, as scratch numbers are compared by eye.",
        "http://www.prhoffman.com/technical/scratch-dig.htm",
    ),
    "edge-knife": Entry("stop", "The faces meet before the work diameter: the blank has no edge.", GEOMETRY),
    "edge-thin": Entry("care", "The edge at the work diameter is thinner than practice asks for.", RECALLED),
    "face-too-steep": Entry("stop", "The face is all but a hemisphere within its clear diameter.", PRACTICE),
    "face-steep": Entry("care", "A steep face: |R| is not above 0.7 of the diameter.", PRACTICE),
    "face-needs-seat": Entry("care", "The curve ends before the diameter of the part: it needs a flat seat or a step.", PRACTICE),
    "face-nearly-flat": Entry("note", "A sagitta of 0.1 mm or less: hard to hold to a test plate, often better plane.", PRACTICE),
    "face-aspheric": Entry("care", "An aspheric face: worked one at a time.", "https://qastack.com.br/photo/23882/why-is-aspheric-glass-expensive"),
    "asphere-runs-away": Entry("stop", "The aspheric terms depart from the conic by more than the part's semi-diameter.", GEOMETRY),
    "element-too-thin": Entry("stop", "Thinner than a fiftieth of the diameter, where published cost tables end.", RECALLED),
    "element-flexible": Entry("care", "Diameter to centre thickness above 15: the part bends while it is polished.", PRACTICE),
    "element-slender": Entry("note", "Diameter to centre thickness above 10: polishing begins to cost more.", PRACTICE),
    "faces-concentric": Entry("care", "The centres of curvature nearly coincide: centring moves much edge for little.", PRACTICE),
    "centring-by-hand": Entry(
        "care",
        "The lens does not slide to its axis between bells (Z_A below 0.56); it is centred by hand, optically.",
        "Karow, Fabrication Methods for Precision Optics, Wiley 1993, p. 524, as cited at "
        "http://www.opticsrealm.com/home/education/opto-mech/z-factor-lens-centerability",
    ),
    "coating-unknown": Entry("stop", "The rates have no coating of this name.", "rate table coatings"),
    "neighbours-collide": Entry("stop", "Two neighbours run into each other away from the axis.", GEOMETRY),
    "cement-radii-differ": Entry("care", "Cemented faces differ by up to ten fringe spacings: the film is not even.", RECALLED),
    "cement-radii-far": Entry("stop", "Cemented faces differ by more than ten fringe spacings.", RECALLED),
    "afocal": Entry("note", "The lens has no focal length.", "first order"),
    "stop-in-glass": Entry("care", "The aperture stop lies inside glass or beyond the next face.", GEOMETRY),
    "pupil-disagrees": Entry("care", "The entrance pupil that is stated is not the image of the stop.", "first order"),
}  # fmt: skip
"""Every finding of this service by its code."""


def found(
    code: str,
    where: str,
    message: str,
    *,
    figure: float | str | None = None,
    limit: float | str | None = None,
    unit: str = "",
    repair: str | None = None,
) -> Finding:
    """A finding of the catalogue at a place, a JSON pointer into the prescription; severity and source are the catalogue's."""
    entry = CATALOGUE[code]
    return Finding(
        code=code, severity=entry.severity, where=where, message=message, figure=figure, limit=limit, unit=unit,
        source=entry.source, repair=repair,
    )  # fmt: skip
