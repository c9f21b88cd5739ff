"""What an element is made of: the catalogue row that is meant, its index, and what an estimator says of it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from services.optics.dispersion import D_LINE_NM, SAME_LINE_NM, formula_of, glass_index, index_from_abbe, range_of, transmits
from services.optics.errors import WavelengthOutsideRange
from services.optics.thermal import thermal_shock_of
from services.prescription.domain.equivalents import equivalent_findings, lead_free
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.glass_reference import CODE, GlassMatch, GlassNotFound, find_glass
from shared_schemas.prescription import IndexGlass, Prescription
from shared_schemas.published_glasses import PublishedGlass
from shared_schemas.rates import GlassRow, Rates

SOFT_KNOOP_HK = 400.0
STAINING_CLASS = 3.0
WEATHERING_CLASS = 3.0
EXPANDING_1E6_PER_K = 10.0
LITTLE_SHOCK_K = 30.0
SOLUBLE_G_PER_L = 0.1
"""Above or below which a glass takes care (common practice)."""

WRAPS_BELOW = 300

RADIOACTIVE = re.compile(r"thor(?:ium|iated|ia\b)|\bTh(?:O2|F4)\b|radioa[ck]ti|uranium|uranyl", re.IGNORECASE)
DENIED_BEFORE = re.compile(
    r"\b(?:no|non|not|never|without|free of|free from)[\s-]+"
    r"(?:(?:any|traces?|of|contain|containing|use|used|be|lead|arsenic|or|and|nor|radioactive)[\s,-]+)*$",
    re.IGNORECASE,
)
DENIED_AFTER = re.compile(
    r"\w*(?:[\s-]+(?:oxide|dioxide|fluoride|glass|content))?(?:[\s-]*free\b|\s*[:=]\s*(?:none|no|nil|0)(?![\w.,]))", re.IGNORECASE
)
"""A few words only stand between a denial and what it denies: a stop too many is a question, one too few is none."""


@dataclass(frozen=True)
class Material:
    """A glass as far as it is known. `row` is its catalogue row; `nd` and `vd` are `None` for a glass of no known index."""

    row: GlassRow | None
    nd: float | None
    vd: float | None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Indices:
    """The index of every element at one wavelength [nm]; `None` for a glass of no known index."""

    wavelength_nm: float
    values: tuple[float | None, ...]
    findings: tuple[Finding, ...] = ()


def material_of(*, glass: str | IndexGlass, where: str, rates: Rates) -> Material:
    """The material that a reference means, with what is to be said of it.

    A code that no single row answers still gives index and Abbe number, and a name that is nearly right those of its nearest
    name, so that the geometry can be looked at all the same; the finding says so.
    """
    if isinstance(glass, IndexGlass):
        said = finding(
            "glass-by-index", where, f"A glass of nd {glass.nd:g}, vd {glass.vd:g} is checked, but not priced.",
            figure=f"nd {glass.nd:g}, vd {glass.vd:g}", limit="a glass of the rates", remedy="name a catalogue glass to have it priced",
        )  # fmt: skip
        return Material(None, glass.nd, glass.vd, (said,))
    if radioactive_in(glass) is not None:
        return Material(None, None, None)
    try:
        match = find_glass(glass, rates)
    except GlassNotFound as fault:
        return _unknown(glass, where, fault, rates)
    row = match.row
    said_of_row = (
        *_of_match(glass, match, where, rates), *_of_row(row, where, rates), *equivalent_findings(row=row, where=where, rates=rates),
    )  # fmt: skip
    return Material(row, row.nd, row.vd, said_of_row)


def _unknown(glass: str, where: str, fault: GlassNotFound, rates: Rates) -> Material:
    names = " or ".join(fault.candidates)
    offer = _offer(fault.published, fault.candidates, rates) if fault.published is not None else None
    said = finding(
        "glass-ambiguous" if fault.ambiguous else "glass-unknown",
        where,
        f"{str(fault)[0].upper()}{str(fault)[1:]}."[:2000].replace("?.", "?"),
        figure=glass,
        limit=names or f"one of the {len(rates.glasses)} glasses of the rates",
        remedy=offer or f"write {names}" if names else "a name of the table glasses, or nd and vd",
    )
    coded = CODE.fullmatch(glass.strip())
    if coded is not None:
        nd, vd = of_code(coded.group(1))
        return Material(None, nd, vd or None, (said,))
    if fault.published is not None:
        return Material(None, fault.published.nd, fault.published.vd, (said,))
    if fault.candidates:
        near = rates.glass(fault.candidates[0])
        return Material(None, near.nd, near.vd, (said,))
    return Material(None, None, None, (said,))


def _offer(published: PublishedGlass, names: Sequence[str], rates: Rates) -> str:
    """The nearest glasses of the rates with what they differ by: offered, as the radii must be computed again for them."""
    rows = [rates.glass(name) for name in names]
    each = [f"{row.name} ({_differs(row, published)})" for row in rows]
    return f"ask whether {' or '.join(each)} will do, with the radii computed again for its index"


def _differs(row: GlassRow, published: PublishedGlass) -> str:
    place = row.in_glass_map
    return "no nd" if place is None else f"nd {place.nd - published.nd:+.5f}, vd {place.vd - published.vd:+.2f}"


def of_code(six_digits: str) -> tuple[float, float]:
    """Index n_d and Abbe number v_d that a six-digit code stands for, each rounded as the code is.

    Notes: the digits are 1000 (n_d - 1), of which a leading 1 is dropped from n_d = 2 on, and 10 v_d. No glass has an
    index from 2.3 on, nor below 1.3, so digits below 300 mean 2 and more.
    Source: https://www.liquisearch.com/glass_code; the wrap from makers' data sheets (nd 2.0033 is 003283).
    """
    above = int(six_digits[:3])
    return (2 if above < WRAPS_BELOW else 1) + above / 1000, int(six_digits[3:]) / 10


def _of_match(reference: str, match: GlassMatch, where: str, rates: Rates) -> Iterator[Finding]:
    row, others = match.row, " and ".join(match.others)
    taken = f"{row.name} of {row.maker}"
    if match.how == "code":
        yield finding("glass-by-code", where, f"The code {reference} is {taken}.", figure=reference, limit=row.name)
    elif match.how == "shared code":
        yield finding(
            "glass-code-shared", where,
            f"The code {reference} is {taken}, of the glasses in stock with this code the cheapest by volume; {others} "
            f"{'has' if len(match.others) == 1 else 'have'} it too.",
            figure=reference, limit=row.name, remedy=f"write {' or '.join(match.others)} where that is meant",
        )  # fmt: skip
    elif match.how == "older code":
        also = f" {others} would round so too." if others else ""
        yield finding(
            "glass-code-older", where,
            f"The code {reference} is an older rounding of {taken} ({_indices(row)}), now {row.code[:6]}.{also}",
            figure=reference, limit=row.name, remedy=f"write {row.name}",
        )  # fmt: skip
    elif match.published is not None:
        yield _of_other_name(reference, match, match.published, where)
    if not any(form.glass == row.name for form in rates.stock_forms):
        yield finding(
            "glass-not-stocked", where, f"{row.name} has no row in stock_forms: it is checked, but not priced.",
            figure=row.name, limit="a row in stock_forms", remedy="a glass that is stocked, or a price for this one",
        )  # fmt: skip


def _indices(row: GlassRow) -> str:
    place = row.in_glass_map
    return "no nd" if place is None else f"nd {place.nd:.5f}, vd {place.vd:.2f}"


def _of_other_name(reference: str, match: GlassMatch, published: PublishedGlass, where: str) -> Finding:
    row = match.row
    also = f"; {' and '.join(match.others)} would do as well" if match.others else ""
    return finding(
        "glass-other-name", where,
        f"{reference} (nd {published.nd:.5f}, vd {published.vd:.2f}) is made of {row.name} of {row.maker}: {_differs(row, published)}{also}.",
        figure=reference, limit=row.name, remedy=f"write {row.name}",
    )  # fmt: skip


def _of_row(row: GlassRow, where: str, rates: Rates) -> Iterator[Finding]:
    if row.lead:
        yield _lead(row, where, rates)
    if row.knoop_hk is not None and row.knoop_hk < SOFT_KNOOP_HK:
        yield finding(
            "glass-soft", where, f"{row.name} is soft (Knoop hardness {row.knoop_hk:g}); it scratches easily.",
            figure=row.knoop_hk, limit=SOFT_KNOOP_HK, unit="HK",
        )  # fmt: skip
    staining = row.stain_fr is not None and row.stain_fr >= STAINING_CLASS
    weathering = row.climate_cr is not None and row.climate_cr >= WEATHERING_CLASS
    if staining or weathering:
        what, figure = ("stain class FR", row.stain_fr) if staining else ("climate class CR", row.climate_cr)
        yield finding(
            "glass-stains", where, f"{row.name} has {what} {figure:g}: polish late, clean fast, coat soon.",
            figure=figure, limit=STAINING_CLASS if staining else WEATHERING_CLASS, unit="class",
        )  # fmt: skip
    if row.cte_30_70_1e6_per_k is not None and row.cte_30_70_1e6_per_k > EXPANDING_1E6_PER_K:
        yield finding(
            "glass-expands", where, f"{row.name} expands by {row.cte_30_70_1e6_per_k:g}e-6 per K: heat and cool it slowly.",
            figure=row.cte_30_70_1e6_per_k, limit=EXPANDING_1E6_PER_K, unit="1e-6/K",
        )  # fmt: skip
    yield from _of_crystal(row, where)


def _of_crystal(row: GlassRow, where: str) -> Iterator[Finding]:
    shock_k = thermal_shock_of(row)
    if shock_k is not None and shock_k < LITTLE_SHOCK_K:
        yield finding(
            "glass-heat-shock", where, f"{row.name} cracks at a sudden change of {shock_k:.3g} K: no hot wax, no warm bath, a slow oven.",
            figure=shock_k, limit=LITTLE_SHOCK_K, unit="K",
        )  # fmt: skip
    if row.water_soluble_g_per_l is not None and row.water_soluble_g_per_l > SOLUBLE_G_PER_L:
        yield finding(
            "glass-dissolves", where, f"{row.name} dissolves in water ({row.water_soluble_g_per_l:g} g/l): polish and clean it with little of it.",
            figure=row.water_soluble_g_per_l, limit=SOLUBLE_G_PER_L, unit="g/l",
        )  # fmt: skip
    if row.cleaves:
        yield finding(
            "glass-cleaves", where, f"{row.name} cleaves along planes of its lattice: no knocks, light cuts.", figure=row.name
        )
    if row.hazard:
        yield finding("glass-hazard", where, f"{row.name}: {row.hazard}.", figure=row.name)


def _lead(row: GlassRow, where: str, rates: Rates) -> Finding:
    other = lead_free(row=row, rates=rates)
    dense = "" if row.density_g_cm3 is None else f" ({row.density_g_cm3:g} g/cm3)"
    repair = "ask whether a lead-free glass will do"
    if other is not None:
        repair = (
            f"ask whether {other.row.name} will do, the nearest without lead: nd {other.nd_difference:+.5f}, vd "
            f"{other.vd_difference:+.2f}, {other.distance:.2f} of the commercial tolerance of a melt"
        )
    return finding(
        "glass-lead", where, f"{row.name} contains lead{dense}: work wet, collect its slurry separately, and check the current rules.",
        figure=row.name, limit="lead-free glass", remedy=repair,
    )  # fmt: skip


def radioactive_findings(prescription: Prescription) -> Iterator[Finding]:
    """A stop for every place that names thoriated or otherwise radioactive material; "thorium-free" is no such place."""
    places: list[tuple[str, str]] = [("/title", prescription.title), ("/remarks", prescription.remarks)]
    for i, element in enumerate(prescription.elements):
        if isinstance(element.glass, str):
            places.append((f"/elements/{i}/glass", element.glass))
        places.append((f"/elements/{i}/name", element.name))
        for face, surface in (("front", element.front), ("back", element.back)):
            places.append((f"/elements/{i}/{face}/coating", surface.coating if isinstance(surface.coating, str) else ""))
    for where, text in places:
        named = radioactive_in(text)
        if named is not None:
            yield finding(
                "glass-radioactive", where,
                f"{named} is named here. Radioactive glass or coating is not shaped, ground, polished or re-worked on the "
                "ground of a quote: local law and a licensed practice decide.",
                figure=named, limit="none", remedy="take a modern glass without it, or ask a licensed practice",
            )  # fmt: skip


def radioactive_in(text: str) -> str | None:
    """The word by which a text names radioactive material; `None` where it does not, or denies it."""
    return next((word.group() for word in RADIOACTIVE.finditer(text) if not _denied(text, word)), None)


def _denied(text: str, word: re.Match[str]) -> bool:
    return bool(DENIED_BEFORE.search(text[: word.start()]) or DENIED_AFTER.match(text[word.end() :]))


def indices_at(*, prescription: Prescription, materials: list[Material]) -> Indices:
    """The index of every element at the prescription's wavelength, or at the d line where one glass does not reach so far."""
    wavelength_nm = prescription.wavelength_nm
    findings: list[Finding] = []
    values: list[float | None] = []
    for i, material in enumerate(materials):
        where = f"/elements/{i}/glass"
        if material.row is not None and not transmits(material.row, wavelength_nm):
            findings.append(_not_transmitted(material.row, wavelength_nm, where))
        try:
            values.append(_index(material, wavelength_nm))
        except WavelengthOutsideRange as fault:
            if material.nd is None:
                findings.append(_no_index(material, wavelength_nm, where))
                values.append(None)
            else:
                findings.append(_at_the_d_line(fault, wavelength_nm, where))
            continue
        if material.nd is not None and _is_estimated(material, wavelength_nm):
            message = f"The index at {wavelength_nm:g} nm is estimated from nd and vd; it may err by some 1e-4."
            findings.append(finding("index-estimated", where, message, figure=values[-1], limit=material.nd))
    if len(values) == len(materials):
        return Indices(wavelength_nm, tuple(values), tuple(findings))
    for i, material in enumerate(materials):
        if material.nd is None and material.row is not None:
            findings.append(_no_index(material, D_LINE_NM, f"/elements/{i}/glass"))
    return Indices(D_LINE_NM, tuple(material.nd for material in materials), tuple(findings))


def _not_transmitted(row: GlassRow, wavelength_nm: float, where: str) -> Finding:
    limit = f"{row.transmits_from_um:g} to {row.transmits_to_um:g} um"
    return finding(
        "wavelength-not-transmitted", where,
        f"{row.name} is clear from {limit}; at {wavelength_nm / 1000:g} um a lens of it lets little or no light through.",
        figure=wavelength_nm / 1000, limit=limit, unit="um", remedy=f"a wavelength from {limit}, or another material",
    )  # fmt: skip


def _at_the_d_line(fault: WavelengthOutsideRange, wavelength_nm: float, where: str) -> Finding:
    limit = f"{fault.shortest_nm:g} to {fault.longest_nm:g} nm"
    return finding(
        "wavelength-outside-glass", where, f"{fault} The figures are for the d line.",
        figure=wavelength_nm, limit=limit, unit="nm", remedy=f"a wavelength from {limit}, or a glass with a dispersion formula",
    )  # fmt: skip


def _no_index(material: Material, wavelength_nm: float, where: str) -> Finding:
    """A material without n_d at a wavelength that its formula does not reach: nothing can be worked out with it."""
    row = material.row
    assert row is not None, "a glass without a row and without n_d raises nothing"
    shortest, longest = range_of(row)
    limit = f"{shortest:g} to {longest:g} nm"
    return finding(
        "index-unknown", where, f"The index of {row.name} is known from {limit}, not at {wavelength_nm:g} nm.",
        figure=wavelength_nm, limit=limit, unit="nm", remedy=f"state the wavelength_nm of the lens, from {limit}",
    )  # fmt: skip


def _index(material: Material, wavelength_nm: float) -> float | None:
    if material.row is not None:
        return glass_index(row=material.row, wavelength_nm=wavelength_nm)
    if material.nd is None or material.vd is None:
        return material.nd
    return index_from_abbe(name="this glass", nd=material.nd, vd=material.vd, wavelength_nm=wavelength_nm)


def _is_estimated(material: Material, wavelength_nm: float) -> bool:
    at_d = abs(wavelength_nm - D_LINE_NM) <= SAME_LINE_NM
    return not at_d and (material.row is None or formula_of(material.row) is None)
