"""The catalogue of findings: every code with its severity, what it means and where the rule comes from."""

from __future__ import annotations

from dataclasses import dataclass

from services.optics.drawing.defaults import FROM_MEMORY
from shared_schemas.check import Finding, FindingKind, Severity

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
    "glass-equivalent": Entry(
        "note",
        "A glass of another maker is as near in index and Abbe number as two melts may be, and cheaper, or can be bought where this one cannot.",
        "rate tables glasses and stock_forms; melt tolerances as published at https://www.optimaxsi.com/optics-in-one-week/",
    ),
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
    "indication-unreadable": Entry("stop", "A drawing indication that cannot be read.", "ISO 10110-5 to -9, -14, -17, -18, from memory"),
    "tolerance-defaulted": Entry("note", "A tolerance is not stated and takes a default, which is loose.", FROM_MEMORY),
    "tolerance-without-default": Entry("stop", "A tolerance is not stated and the part is larger than the table of defaults.", FROM_MEMORY),
    "tolerance-reaches-size": Entry("stop", "A tolerance is as large as the dimension it is of, which it would let vanish.", GEOMETRY),
    "tolerance-wide": Entry("care", "A tolerance is more than a tenth of the dimension it is of: a decimal point may have slipped.", PRACTICE),
    "scratch-dig-kept": Entry(
        "care",
        "A scratch-dig figure is kept as given; time is planned by its dig alone, as scratch numbers are compared by eye.",
        "http://www.prhoffman.com/technical/scratch-dig.htm",
    ),
    "form-from-rms": Entry(
        "note",
        "A form is stated by RMS: irregularity is planned as five times it, power as 2 sqrt(3) times RMSt.",
        "five times common practice; power derived from the RMS of a paraboloid",
    ),
    "focus-missing": Entry(
        "care",
        "Exact rays do not come to a focus; the slip that would mend the lens is named where one does.",
        "traced; blur of the best single lens after W. J. Smith, Modern Optical Engineering, from memory",
    ),
    "units-mistaken": Entry("care", "The whole file seems to be in another unit of length.", "common practice, sizes that are handled"),
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
    "coating-off-wavelength": Entry("care", "The lens is for a wavelength outside the band that a face is coated for.", PRACTICE),
    "neighbours-collide": Entry("stop", "Two neighbours run into each other away from the axis.", GEOMETRY),
    "spacer-thin": Entry("note", "The spacer between two elements is foil or shim, or has no length left.", PRACTICE),
    "cement-radii-differ": Entry("care", "Cemented faces differ by more than five fringe spacings: the film is not even.", RECALLED),
    "cement-radii-far": Entry("stop", "Cemented faces stand farther apart than a film of cement is thick.", RECALLED),
    "cement-coated": Entry("care", "A coating is asked for on a cemented face.", PRACTICE),
    "cement-strain": Entry("care", "Glasses of unlike expansion are cemented over more than 25 mm: a softer cement.", f"strain derived; band {RECALLED}"),
    "cement-strain-high": Entry(
        "care", "Glasses of very unlike expansion are cemented: a compliant cement, an air space, or oil.", f"strain derived; band {RECALLED}"
    ),
    "clear-below-beam": Entry("care", "A clear diameter is smaller than the axial beam that must pass.", "first order"),
    "vignetting": Entry("note", "Clear diameters cut the beam of the field: its edge is darker.", "first order"),
    "field-cut-off": Entry("care", "No beam of the stated field passes every clear diameter.", "first order"),
    "bevel-in-clear": Entry(
        "note", "The clear diameter leaves no room for the usual bevel.", "https://jp.optosigma.com/en_jp/category__opt_d__opt_d07; ISO 10110-11, from memory"
    ),
    "wedge-fine": Entry(
        "care",
        "The centring asks for a difference of edge thickness below 5 um, which is not economical; below 2 um lies the published limit.",
        "https://www.optimaxsi.com/charts/tolerancing-limits/spheres",
    ),
    "barrel-narrow": Entry("stop", "The glass is wider than the barrel.", GEOMETRY),
    "barrel-wall-thin": Entry("care", "The wall of the barrel around its widest element is thinner than 1 mm.", PRACTICE),
    "barrel-short": Entry("stop", "The barrel is shorter than the lens from its first edge to its last.", GEOMETRY),
    "barrel-glass-proud": Entry("note", "Glass stands out of the barrel.", PRACTICE),
    "barrel-order": Entry("care", "An element has narrower glass on both sides: it cannot be dropped into a stepped bore.", PRACTICE),
    "afocal": Entry("note", "The lens has no focal length.", "first order"),
    "stop-in-glass": Entry("care", "The aperture stop lies inside glass or beyond the next face.", GEOMETRY),
    "pupil-disagrees": Entry("care", "The entrance pupil that is stated is not the image of the stop.", "first order"),
}  # fmt: skip
"""Every finding of this service by its code."""


GRAVEST_FIRST: tuple[Severity, ...] = ("stop", "care", "note")


def finding_kinds() -> tuple[FindingKind, ...]:
    """Every kind of finding, the gravest first and by code."""
    by_gravity = sorted(CATALOGUE.items(), key=lambda item: (GRAVEST_FIRST.index(item[1].severity), item[0]))
    return tuple(FindingKind(code=code, severity=one.severity, meaning=one.meaning, source=one.source) for code, one in by_gravity)


def found(
    code: str,
    pointer: str,
    message: str,
    *,
    figure: float | str | None = None,
    limit: float | str | None = None,
    unit: str = "",
    remedy: str | None = None,
) -> Finding:
    """A finding of the catalogue at a place, a JSON pointer into the prescription; severity and source are the catalogue's."""
    entry = CATALOGUE[code]
    return Finding(
        code=code, severity=entry.severity, pointer=pointer, message=message, figure=figure, limit=limit, unit=unit,
        source=entry.source, remedy=remedy,
    )  # fmt: skip
