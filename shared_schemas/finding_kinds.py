"""The catalogue of findings: every code of every service, with its severity, meaning and source, and what a customer reads of it.

A finding is made by `finding`, which takes severity and source from here; so a code that is not in the catalogue cannot be used.
"""

from __future__ import annotations

from collections.abc import Mapping

from shared_schemas.check import Finding, FindingKind, Severity, SheetSection

PRACTICE = "common practice"
RECALLED = "common practice, from memory"
GEOMETRY = "derived from the geometry"
DEFAULTS = "ISO 10110-11, from memory, check the licensed text"
AS_SAID = "{message} {remedy}"
"""The customer reads what the shop reads, with what would do."""

_SECTION_OF: Mapping[Severity, SheetSection] = {"stop": "to look at", "care": "to look at", "note": "assumed"}


def _both(
    code: str, severity: Severity, meaning: str, source: str, words: str = AS_SAID, section: SheetSection | None = None
) -> FindingKind:
    """A finding about what the customer sent, or about what the customer gets: it goes on the sheet."""
    return FindingKind(
        code=code, severity=severity, meaning=meaning, source=source, audience="both", customer_words=words,
        sheet_section=section or _SECTION_OF[severity],
    )  # fmt: skip


def _shop(code: str, severity: Severity, meaning: str, source: str) -> FindingKind:
    """A finding about the shop's own work, stock or prices."""
    return FindingKind(code=code, severity=severity, meaning=meaning, source=source, audience="shop")


OF_THE_CHECK = (
    _both("size-unmakeable", "stop", "The part is too small to be held and worked.", PRACTICE),
    _both("size-beyond-shop", "stop", "The diameter is larger than any that the shop has allowances for.", "rate table allowances"),
    _both("glass-unknown", "stop", "The rates have no glass of this name or code.", "rate table glasses"),
    _both("glass-ambiguous", "stop", "Several glasses share this code and none of them is stocked; the drawing must say which one is meant.", "rate table glasses"),
    _both(
        "glass-radioactive", "stop",
        "The glass is thoriated or otherwise radioactive. A quote is no licence to shape, grind, polish or rework it.",
        "10 CFR 40.13(c)(7) as quoted at https://www.coherent.com/thorium-safety and in trade discussion; local law decides",
    ),
    _both("glass-by-index", "care", "The glass is given by index and Abbe number only: it is checked, but not priced.", PRACTICE),
    _both("glass-by-code", "note", "The glass was identified by its code.", "rate table glasses", "{message}"),
    _both(
        "glass-code-shared", "care", "Several glasses share this code: of those in stock the cheapest by volume is taken.",
        "rate tables glasses and stock_forms", "{message} {remedy}",
    ),
    _both(
        "glass-code-older", "note", "The code is rounded as older catalogues did, such as 516642 for 517642.",
        "index or Abbe number cut off at the last digit: from memory", "{message}",
    ),
    _both(
        "glass-other-name", "note", "The name is not in the rates, but one of their glasses has its published index and Abbe number.",
        "makers' data sheets, from memory; n_d within 0.0001, v_d within 0.3 %: common practice", "{message}",
    ),
    _both("glass-not-stocked", "care", "The glass has no row in stock_forms: it is checked, but not priced.", "rate table stock_forms"),
    _shop(
        "glass-equivalent", "note",
        "A glass of another maker matches in index and Abbe number to within the spread between melts, and is cheaper or easier to buy.",
        "rate tables glasses and stock_forms; melt tolerances as published at https://www.optimaxsi.com/optics-in-one-week/",
    ),
    _both(
        "glass-lead", "care",
        "The glass contains lead: work it wet, collect its slurry separately, and check the current rules on hazardous substances.",
        "makers' data sheets; Directive (EU) 2017/1011 on the exemption of optical glass",
        "{glass} ({places}) contains lead: check whether the rules on hazardous substances allow it where the lens is used, and how to "
        "dispose of it. {remedy}",
        "handling",
    ),
    _both(
        "glass-soft", "care", "A soft glass: it scratches easily when handled, cleaned or polished.", PRACTICE,
        "{glass} ({places}) is soft and scratches easily when handled or cleaned.", "handling",
    ),
    _both(
        "glass-stains", "care", "The glass stains or weathers: polish it late, clean it fast, and coat it soon.", PRACTICE,
        "{glass} ({places}) stains or weathers: keep uncoated faces dry, and wipe off fingerprints and water at once.", "handling",
    ),
    _both(
        "glass-expands", "care", "The glass expands a lot with heat: it cracks when heated or cooled quickly.", PRACTICE,
        "{glass} ({places}) expands a lot with heat: heat and cool it slowly.", "handling",
    ),
    _both(
        "glass-heat-shock", "care", "The material cracks at a small sudden change of temperature.",
        "derived from its published strength, modulus and expansion; from 30 K on stood by usual work: common practice",
        "{glass} ({places}) cracks at a sudden change of temperature: warm and cool it slowly, keep cold water off a warm piece.",
        "handling",
    ),
    _both(
        "glass-dissolves", "care", "The material dissolves in water: it is polished and cleaned with little of it.", "rate table glasses",
        "{glass} ({places}) dissolves in water: keep it dry, wipe off fingerprints and breath at once.", "handling",
    ),
    _both(
        "glass-cleaves", "care", "The material cleaves along planes of its lattice.", "rate table glasses",
        "{glass} ({places}) splits along planes of its lattice: no knocks, no point loads in its mount.", "handling",
    ),
    _both(
        "glass-hazard", "care", "The dust, slurry or waste of the material is dangerous.", "rate table glasses; local rules decide",
        "{glass} ({places}): its dust and waste are dangerous. Do not grind, cut or break it; local rules decide how to throw it away.",
        "handling",
    ),
    _both("index-unknown", "stop", "The index of the material is unknown at this wavelength and at the d line.", "rate table glasses"),
    _both("wavelength-not-transmitted", "care", "The material lets little or no light of this wavelength through.", "rate table glasses"),
    _both("wavelength-outside-glass", "care", "The index of the glass is unknown at this wavelength; figures are for the d line.", "makers' data sheets"),
    _both("index-estimated", "note", "The index at this wavelength is estimated from index and Abbe number.", "Cauchy's formula with two terms, derived", "{message}"),
    _both("indication-unreadable", "stop", "A drawing indication cannot be read.", "ISO 10110-5 to -9, -14, -17, -18, from memory"),
    _both(
        "tolerance-defaulted", "note", "A tolerance is not stated, so the default applies, which is loose.", DEFAULTS,
        "Not stated for {places}, so by default of ISO 10110-11: {figures}.",
    ),
    _both("tolerance-without-default", "stop", "A tolerance is not stated, and the part is larger than the table of defaults covers.", DEFAULTS),
    _both("tolerance-reaches-size", "stop", "A tolerance is as large as the dimension itself.", GEOMETRY),
    _both("tolerance-wide", "care", "A tolerance is more than a tenth of its dimension: a decimal point may have slipped.", PRACTICE),
    _both(
        "scratch-dig-kept", "care",
        "A scratch-dig figure is kept as given; time is planned from the dig alone, since scratch numbers are compared by eye.",
        "http://www.prhoffman.com/technical/scratch-dig.htm",
    ),
    _both(
        "form-from-rms", "note", "Form is stated as RMS: irregularity is planned as five times RMSi, power as 2 sqrt(3) times RMSt.",
        "five times common practice; power derived from the RMS of a paraboloid", "{message}",
    ),
    _both(
        "focus-missing", "care", "Exact rays do not come to a focus; where a single slip explains it, that slip is named.",
        "traced; blur of the best single lens after W. J. Smith, Modern Optical Engineering, from memory",
    ),
    _both("units-mistaken", "care", "The whole file seems to be in another unit of length.", "common practice, sizes that are handled"),
    _both("edge-knife", "stop", "The faces meet before the diameter, or before every work diameter that the rates allow.", GEOMETRY),
    _shop(
        "allowance-small", "care", "The usual allowance on the diameter leaves no edge: a smaller one of the rates is taken.",
        "rate table allowances; common practice, from memory",
    ),
    _both("edge-thin", "care", "The edge at the work diameter is thinner than usual practice.", RECALLED),
    _both("face-too-steep", "stop", "The face is almost a hemisphere within its clear diameter.", PRACTICE),
    _both("face-steep", "care", "A steep face: |R| is at most 0.7 of the diameter.", PRACTICE),
    _both("face-needs-seat", "care", "The curve ends inside the diameter of the part, which needs a flat seat or a step.", PRACTICE),
    _shop("face-nearly-flat", "note", "A sagitta of 0.1 mm or less: hard to hold to a test plate, and often better made plane.", PRACTICE),
    _both("face-aspheric", "care", "An aspheric face: each piece is worked singly.", "https://qastack.com.br/photo/23882/why-is-aspheric-glass-expensive"),
    _both("asphere-runs-away", "stop", "The aspheric terms depart from the conic by more than the semi-diameter of the part.", GEOMETRY),
    _both("element-too-thin", "stop", "Thinner than a fiftieth of the diameter, where published cost tables end.", RECALLED),
    _both("element-flexible", "care", "Diameter to centre thickness above 15: the part bends during polishing.", PRACTICE),
    _shop("element-slender", "note", "Diameter to centre thickness above 10: polishing begins to cost more.", PRACTICE),
    _both("faces-concentric", "care", "The centres of curvature nearly coincide: a small centring error takes a lot off the edge.", PRACTICE),
    _both(
        "centring-by-hand", "care", "The lens does not centre itself between bell chucks (Z_A below 0.56); it is centred optically, by hand.",
        "Karow, Fabrication Methods for Precision Optics, Wiley 1993, p. 524, as cited at "
        "http://www.opticsrealm.com/home/education/opto-mech/z-factor-lens-centerability",
    ),
    _both("coating-unknown", "stop", "The rates have no coating of this name.", "rate table coatings"),
    _both("coating-off-wavelength", "care", "The lens is used at a wavelength outside the band of a coating.", PRACTICE),
    _both("neighbours-collide", "stop", "Two neighbouring elements touch inside a clear diameter.", GEOMETRY),
    _both(
        "neighbours-seat", "care", "Two neighbouring rims would touch outside both clear diameters: the hollow one gets a flat seat.",
        f"derived from the geometry; the seat {PRACTICE}",
    ),
    _shop("spacer-thin", "note", "The spacer between two elements is a shim or foil, or has no length left.", PRACTICE),
    _both("cement-radii-differ", "care", "Cemented faces differ by more than five fringe spacings, so the film is uneven.", RECALLED),
    _both("cement-radii-far", "stop", "Cemented faces are further apart than a film of cement is thick.", RECALLED),
    _both("cement-coated", "care", "A coating is asked for on a cemented face.", PRACTICE),
    _both("cement-strain", "care", "Glasses of different expansion are cemented over more than 25 mm: take a softer cement.", f"strain derived; band {RECALLED}"),
    _both(
        "cement-strain-high", "care", "Glasses of very different expansion are cemented: take a compliant cement, an air space, or oil.",
        f"strain derived; band {RECALLED}",
    ),
    _both("clear-below-beam", "care", "A clear diameter is smaller than the axial beam that has to pass.", "first order"),
    _shop("vignetting", "note", "Clear diameters cut into the beam of the field, whose edge is darker.", "first order"),
    _shop("field-not-screened", "note", "Vignetting is not looked at: the field is wider than first order is good for.", "first order; common practice"),
    _both("field-cut-off", "care", "No part of the beam at the stated field passes every clear diameter.", "first order"),
    _shop("bevel-in-clear", "note", "The clear diameter leaves no room for the usual bevel.", "https://jp.optosigma.com/en_jp/category__opt_d__opt_d07; ISO 10110-11, from memory"),
    _both(
        "wedge-fine", "care",
        "The centring asks for an edge thickness difference below 5 um, which is uneconomical; the published limit is 2 um.",
        "https://www.optimaxsi.com/charts/tolerancing-limits/spheres",
    ),
    _both("barrel-narrow", "stop", "The glass is wider than the barrel.", GEOMETRY),
    _both("barrel-wall-thin", "care", "The barrel wall around the widest element is thinner than 1 mm.", PRACTICE),
    _both("barrel-short", "stop", "The barrel is shorter than the lens from its first edge to its last.", GEOMETRY),
    _shop("barrel-glass-proud", "note", "Glass stands proud of the barrel.", PRACTICE),
    _both("barrel-order", "care", "An element has narrower glass on both sides: it cannot be dropped into a stepped bore.", PRACTICE),
    _shop("afocal", "note", "The lens has no focal length.", "first order"),
    _both("stop-in-glass", "care", "The aperture stop lies inside glass or beyond the next face.", GEOMETRY),
    _both("pupil-disagrees", "care", "The stated entrance pupil is not the image of the stop.", "first order"),
)  # fmt: skip
"""Whether the lens can be made as it is drawn."""

OF_THE_GLASS = (
    _both("glass-not-priced", "stop", "The glass has no row in glasses or in stock_forms, so it is checked but cannot be priced.", "rate tables glasses and stock_forms"),
    _both("blank-too-large", "stop", "No stock form, or no allowance, is large enough for the blank.", "rate tables stock_forms and allowances"),
    _shop("stock-little-used", "care", "Less than a fifth of the glass that is bought ends up in blanks.", PRACTICE),
    _shop("kerf-wider-than-blank", "care", "More glass is cut away between two blanks than is in one of them.", "rate table allowances"),
    _both(
        "glass-long-lead", "care", "The glass takes so long to arrive that it decides the date of the order.", "rate table stock_forms",
        "The glass takes {figure:g} days to arrive.",
    ),
    _shop("cut-or-pressed", "note", "The number of blanks from which pressings are cheaper than cut blanks.", "rate table stock_forms"),
    _shop("store-at-full-price", "care", "Glass in the store has no remnant credit in its row, so it is charged at its full price.", "rate table stock_forms"),
    _both("glass-graded", "note", "The glass is bought in a better grade than the usual, as the drawing asks.", "rate table glass_grades", "{message}"),
    _both("glass-grade-not-priced", "care", "The drawing asks for a grade of glass of which the rates have no row: it is not in the price.", "rate table glass_grades"),
    _both("glass-grade-unmeetable", "stop", "The drawing asks for a finer glass than any that is bought.", "rate table glass_grades"),
    _both(
        "glass-grade-unneeded", "note", "A looser grade of glass would deform the wave less than a quarter of what the faces may.",
        "derived; a quarter: common practice",
    ),
    _shop("blank-out-of-thicker-plate", "note", "The blank is cored from plates sawn for a thicker one, which takes less glass.", "derived from the rows of stock_forms and allowances"),
    _both("supplied-blank-too-small", "stop", "An element does not come out of the blank that the customer supplies.", GEOMETRY),
    _shop("glass-bought-together", "note", "Elements of one glass buy it together, which costs less than separate lots.", "derived from the rows of stock_forms"),
)  # fmt: skip
"""What there is to say of a blank and the glass it is made from."""

OF_THE_ROUTE = (
    _both("material-without-rate", "stop", "Nothing in the rates says how the material is ground or polished.", "rate tables glasses and polishing"),
    _both("beyond-capability", "stop", "A tolerance is tighter than the shop can hold.", "rate table tolerance_classes"),
    _both("too-large-for-machines", "stop", "The blank is larger than a machine on its route can take.", "rate table work_centres"),
    _both("no-seat", "stop", "The element is too wide for the calottes of a coating.", "rate table coatings"),
    _shop("own-operation-without-a-place", "care", "A step of the shop's own is asked for, and the lens has nothing that it is done to.", "rate table operations"),
    _both("supplied-tool-not-needed", "care", "The customer supplies a tool that nothing of the lens is made with.", PRACTICE),
    _both("delivered-in-sets", "note", "Sets of parts are delivered, which the customer puts together.", "the request", "{message}"),
    _both("repeat-of-an-order", "note", "The order repeats an earlier one: the tools that were made for that are there.", "the accepted quote", "{message}"),
    _both("repeat-of-another-lens", "care", "The order is said to repeat an earlier one, and no tool of that serves this lens.", "the accepted quote"),
    _both("coated-by-the-customer", "note", "A face is coated by the customer, or by whom he sends it to: the shop puts no coating on it.", "the request", "{message}"),
    _both("asphere-beyond-ways", "stop", "No way of making and measuring aspheres in the rates is good for an aspheric face.", "rate table aspheres"),
    _both("no-part-so-large", "stop", "The lens needs a part of the mount larger than any in the rates.", "rate tables hardware and turning"),
    _both("reflectance-unmeetable", "stop", "No coating in the rates, nor a design out of their films, has the reflectance asked for on this glass.", "rate table coatings"),
    _both("coating-band-beyond-glass", "stop", "A reflectance is asked for at wavelengths where the index of the glass is unknown.", "rate table glasses"),
    _both("coating-chosen", "note", "The cheapest coating that meets the reflectance asked for was chosen.", "rate table coatings", "{message}"),
    _both(
        "coating-to-be-tried", "care", "No coating of the rates has the reflectance asked for; a design out of their films has, and is to be tried.",
        "computed by the characteristic matrix", "A new coating has to be tried before it can be promised. {message}",
    ),
    _both(
        "coating-too-hot", "care", "The run of a coating is hotter than the material stands.", f"ion-assisted films at 80 to 150 deg C: {RECALLED}",
    ),
    _both("coating-not-needed", "care", "The uncoated glass already meets the reflectance asked for.", "the dispersion of the glass"),
    _both("coating-not-evaluated", "care", "The coating works at wavelengths where the index of the glass is unknown.", "rate table coatings"),
    _both(
        "coating-promise-missed", "care", "On this glass the coating reflects more than its row promises.", "rate table coatings",
        "On this glass the coating reflects up to {figure:.2%}, more than the {limit:.2%} it is meant to keep. {remedy}",
    ),
    _both(
        "mirror-promise-missed", "care", "The mirror reflects less than its row promises.", "rate table coatings",
        "The mirror reflects {figure:.2%} at the least, below the {limit:.2%} it is meant to keep. {remedy}",
    ),
    _both("ground-face-polished", "care", "A face drawn as ground is planned and priced as polished.", PRACTICE),
    _both("texture-not-planned", "note", "No time is planned for a texture that is stated as peak-to-valley roughness.", PRACTICE, "{message}"),
    _both("laser-damage-not-measured", "care", "The laser damage threshold is not measured, nor is measuring it in the minutes.", PRACTICE),
    _both("wavefront-not-measured", "note", "The lens is delivered in parts, so its transmitted wavefront is not measured.", PRACTICE, "{message}"),
    _both(
        "assembly-imperfections-not-looked-at", "note", "The lens has no cemented faces, so imperfections of the assembly are not inspected.", PRACTICE,
        "{message}",
    ),
    _both("stop-without-plate", "note", "No plate is made for the aperture stop: the rim of a lens or a land of the barrel stands for it.", PRACTICE, "{message}"),
    _shop("worked-singly", "note", "A face is ground and polished one lens at a time.", PRACTICE),
    _shop("asphere-to-press", "note", "From some quantity on aspheres of this glass and size would cost less pressed than polished.", "rate table pressed_aspheres"),
    _shop("blocked-softly", "note", "A thin lens bends, so it is blocked softly and polished lightly.", "rate table polishing; common practice"),
    _shop("face-order", "note", "Which face is worked first, where something other than its shape decides.", PRACTICE),
    _shop("glass-care", "note", "The glass resists acid, alkali, water or heat poorly, or contains lead, and takes extra work.", "rate table extra_work"),
    _shop("abrasion-fitted", "note", "No abrasion is published for the glass; it is fitted from its hardness.", "rate table glasses"),
    _shop("grindability-fitted", "note", "No grindability class is published for the glass; it is fitted from other properties.", "rate table glasses"),
)  # fmt: skip
"""What there is to say of the operations and what they can hold."""

OF_THE_PRICE = (
    _both("lead-time-too-long", "stop", "The quantity takes longer than the terms allow: its price and date are not an offer.", "rate table commercial", "{message}"),
    _shop("book-of-load-thin", "care", "The book of load holds less than half of the work that it is said to hold, so that dates count on hours that may be taken.", "rate table shop_load"),
    _shop("rates-of-a-release", "care", "The quote rests on rates that a release added and nobody of the shop has confirmed.", "the sources of the rate rows"),
    _shop("rests-on-invented-rates", "care", "The price rests on rate rows whose figures were invented; the customer's sheet is marked as a trial.", "the origin of the rate rows"),
    _shop("rests-on-stale-rates", "care", "The price rests on rate rows that are older than the rows of their tables should be.", "the dates of the rate rows"),
    _shop("margin-below-floor", "care", "In a quote with overrides the margin reached is below the floor of its terms: it needs a second key.", "rate table commercial"),
    _shop("loss-chance-above-limit", "care", "In a quote with overrides cost and overhead pass the price too likely for its terms: it needs a second key.", "rate table commercial"),
    _both("prototypes-first", "note", "A quantity is made before any other, with its tools: what the others cost and take then.", "the request", "{message}"),
    _both("delivery-not-in-time", "care", "A part of an order is wanted by a day on which it is not ready as the first pieces of one lot.", "the dates of the quote"),
    _both("supplied-material-short", "care", "The customer supplies less glass, or fewer blanks, than are planned to be started.", "the plan of starts"),
    _both(
        "supplied-material-lost", "care", "Some of what the customer supplies is lost in making; it is not in the price.", "the plan of starts",
        "{message} What is lost of supplied material is not replaced. {remedy}",
    ),
    _shop("override-base-moved", "care", "What would be worked out without an override is not what it was when the override was set or confirmed.", "the worksheet"),
    _shop("override-without-figure", "care", "An override counts nowhere: its pointer names no figure of the worksheet of this lens.", "the worksheet"),
    _shop("confidence-out-of-reach", "note", "Whole batches may be lost, so that no sensible start reaches the confidence asked for.", "rate table yields"),
)  # fmt: skip
"""What there is to say of a quantity beside its price."""

CATALOGUE: Mapping[str, FindingKind] = {kind.code: kind for kind in (*OF_THE_CHECK, *OF_THE_GLASS, *OF_THE_ROUTE, *OF_THE_PRICE)}
"""Every finding of every service by its code."""

_GRAVEST_FIRST: tuple[Severity, ...] = ("stop", "care", "note")


def finding_kinds() -> tuple[FindingKind, ...]:
    """Every kind of finding, the gravest first and by code."""
    return tuple(sorted(CATALOGUE.values(), key=lambda kind: (_GRAVEST_FIRST.index(kind.severity), kind.code)))


def finding(
    code: str,
    pointer: str,
    message: str,
    *,
    figure: float | str | None = None,
    limit: float | str | None = None,
    unit: str = "",
    remedy: str | None = None,
    row: str = "",
) -> Finding:
    """A finding of the catalogue at a place, a JSON pointer into the prescription.

    Severity and source are the catalogue's; `row` names the row of the rate table that the source speaks of.
    """
    kind = CATALOGUE[code]
    return Finding(
        code=code, severity=kind.severity, pointer=pointer, message=message, figure=figure, limit=limit, unit=unit,
        source=f"{kind.source}, row {row}" if row else kind.source, remedy=remedy,
    )  # fmt: skip
