"""Coatings in words: names of the rate table where a name fits plainly, what a coating is to do, or a question with choices."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from typing import Any

from pydantic import ValidationError

from services.desk.intake.reading import FIGURE, Reading, asked, decimal_of, shown, tidy, words
from shared_schemas.prescription import DEMAND_IN_WORDS, CoatingDemand

NONE = words(
    "none", "uncoated", "no coating", "no", "without coating", "bare", "unbeschichtet", "keine", "keine beschichtung", "ohne", "ohne beschichtung", "roh",
    "sans traitement", "sans", "non traité", "non traite", "aucun", "not coated", "unvergütet", "blank", "n/a", "na", "nil",
)  # fmt: skip
DASH = re.compile(r"[-_/.]+")
SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)+")

SINGLE = re.compile(
    r"(?:(?:single|1|one|einzel|einfach|mono)[\s-]?(?:layer|schicht|couche)?[\s-]*)?(?:of\s+)?(?:λ/4|lambda/4|1/4[\s-]?wave|quarter[\s-]?wave|qwot)?\s*(?:ar[\s-]?)?"
    r"(?:mgf2?|mgf₂|magnesium fluoride|magnesiumfluorid|fluorure de magnésium)\s*(?:coating|ar|layer|schicht|\(?\s?(?:λ/4|lambda/4|qw|1/4 wave)\s?\)?)?"
    rf"(?:\s*(?:@|at|bei|à|,|centred at|centered at)?\s*(?P<nm>{FIGURE})\s?(?:nm)?)?(?:\s*single[\s-]?layer)?",
    re.IGNORECASE,
)
SINGLE_AR = re.compile(
    rf"(?:single|1|one|einzel|einfach|mono)[\s-]?(?:layer|schicht|couche)\s*(?:ar|antireflex\w*|anti-?reflection|entspiegelung|vergütung|coating)?(?:\s*(?:@|at|bei|à)?\s*(?P<nm>{FIGURE})\s?(?:nm)?)?",
    re.IGNORECASE,
)
SINGLE_NAMES = {None: "ar-single", 550: "ar-single", 1064: "ar-single-1064", 1550: "ar-single-1550"}
V_NAMES = {532: "ar-v-532", 550: "ar-v-550", 1064: "ar-v-1064", 1550: "ar-v-1550"}
BROAD_NAMES = {(400, 1000): "ar-broad-400-1000", (650, 1050): "ar-broad-650-1050", (1050, 1700): "ar-broad-1050-1700"}
VISIBLE = ((400, 700), (450, 650), (420, 680), (400, 650), (425, 675))

METALS: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (name, re.compile(pattern, re.IGNORECASE))
    for name, pattern in (
        ("mirror-aluminium-enhanced", r"enhanced (?:al|alumin(?:i)?um)(?: mirror)?"),
        (
            "mirror-aluminium",
            r"(?:protected|prot\.?|geschützt\w*)\s*(?:al|alumin(?:i)?um)(?: mirror|spiegel)?|al\s?\+\s?sio2?|alumin(?:i)?um mirror|aluminiumspiegel",
        ),
        ("mirror-silver", r"(?:protected|prot\.?|geschützt\w*)\s*(?:ag|silver|silber)(?: mirror|spiegel)?"),
        ("mirror-gold", r"(?:protected|prot\.?|geschützt\w*)\s*(?:au|gold)(?: mirror|spiegel)?"),
        ("mirror-gold-bare", r"(?:bare|unprotected|ungeschützt\w*)\s*(?:au|gold)(?: mirror|spiegel)?"),
    )
)
"""Names of the rate table as it is delivered; a shop that has none of that name is told so when the quote is asked for."""

AR_WORDS = (
    r"(?:b\.?b\.?\s?ar|broad[\s-]?band(?:ige?)?(?:\s+(?:ar|anti-?reflection|anti-?reflective|entspiegelung))?|breitband(?:-?ar|entspiegelung|vergütung|ig)?|v-?coat(?:ing|ed)?|v-?ar|laser[\s-]?line(?: ar)?"
    r"|arc?|a/r|anti-?reflecti(?:on|ve)|anti-?reflex(?:ion)?|anti-?reflet|antireflets|entspiegel(?:t|ung)|vergütet|vergütung|mehrschicht(?:vergütung)?|multi-?layer|mc|dual band ar|traité|coated)"
)
MIRROR_WORDS = r"(?:hr|high(?:ly)?[\s-]?reflect(?:or|ive|ing)|mirror|verspiegelt|spiegel|hochreflektierend|miroir|reflector)"
KIND = re.compile(rf"(?<![\w])(?P<ar>{AR_WORDS})(?![\w])|(?<![\w])(?P<mirror>{MIRROR_WORDS})(?![\w])", re.IGNORECASE)
PERCENT = re.compile(
    rf"(?P<name>R\s?_?\s?(?P<mean>avg|ave|average|mean|m)?\.?|reflectance|reflectivity|reflexion|Restreflexion)?\s*(?P<sign><=|>=|<|>|=)?\s*(?P<figure>{FIGURE})\s*%\s*(?P<mean2>avg|average|mean)?",
    re.IGNORECASE,
)
BAND = re.compile(
    rf"(?P<first>{FIGURE})\s?(?:nm|µm)?\s*(?:to|-|\.\.\.?|bis|à|…|through)\s*(?P<last>{FIGURE})\s?(?P<unit>nm|µm|um)?",
    re.IGNORECASE,
)
LINES = re.compile(rf"(?P<first>{FIGURE})\s?(?P<unit>nm|µm|um)?", re.IGNORECASE)
ANGLE = re.compile(
    rf"(?P<figure>{FIGURE})\s?(?:°|deg(?:rees?)?)\s*(?:aoi|incidence|inc\.?)?|(?:aoi|incidence)\s*[:=]?\s*(?P<figure2>{FIGURE})\s?(?:°|deg)?",
    re.IGNORECASE,
)
VISIBLE_WORDS = re.compile(r"(?<![\w])(?:vis|visible|sichtbar\w*|visuell)(?![\w])", re.IGNORECASE)
FILLERS = re.compile(
    r"(?<![\w])(?:coating|coated|coat|beschichtung|schicht|traitement|per|surface|side|pro|fläche|over|from|von|for|at|bei|à|und|and|im|bereich|range|in|the|max|min|nm|oder|better|or|dielectric|per face|each|par|face"
    r"|at normal incidence|normal incidence|normal)(?![\w])\.?|[@:,;()=/]|<=|>=|<|>",
    re.IGNORECASE,
)
USUAL_PERCENTS = {"broad": ("0.5", "1"), "line": ("0.25", "0.1"), "mirror": ("99", "99.5")}


def read_coating(text: str) -> Reading:
    """`BBAR 400-700`, `R < 0.5 % 450-650 nm`, `V-coat 633`, `single layer MgF2`, `HR 99% @ 1064`, `uncoated`, or a name as the rates have it."""
    written = text.strip()
    if written.startswith("{"):
        return _document(written)
    demand = DEMAND_IN_WORDS.fullmatch(written)
    spelled = tidy(text)
    if demand is not None:
        return _demand(
            demand["percent"],
            demand["sign"] in (">", ">=", "≥"),
            demand["first"],
            demand["last"] or demand["first"],
            demand["angle"],
            spelled,
            "",
        )
    if re.fullmatch(NONE, spelled, re.IGNORECASE):
        return Reading({"coating": None})
    if DASH.fullmatch(spelled):
        return Reading({"coating": None}, rule=f"{spelled} is taken as uncoated")
    if SLUG.fullmatch(written):
        return Reading({"coating": written})
    return _named(spelled) or _in_words(spelled)


def _document(written: str) -> Reading:
    try:
        found = CoatingDemand.model_validate(json.loads(written))
    except (ValueError, ValidationError):
        return asked(f"{written} is no document of a coating, such as R <= 0.5 % 450 to 650 nm")
    return Reading({"coating": found.model_dump(mode="json")})


def _named(spelled: str) -> Reading | None:
    """A coating that a name of the rate table fits plainly."""
    found = SINGLE.fullmatch(spelled) or SINGLE_AR.fullmatch(spelled)
    if found is not None:
        at = None if found["nm"] is None else int(decimal_of(found["nm"]))
        if at in SINGLE_NAMES:
            return Reading(
                {"coating": SINGLE_NAMES[at]},
                rule=f"{spelled} is the coating {SINGLE_NAMES[at]} of the rates, a single layer of MgF2",
            )
        return asked(
            f"{spelled}: a single layer for {at} nm is no coating of the rates; what is it to do?",
            *_choices("line", str(at), str(at), ""),
        )
    for name, pattern in METALS:
        if pattern.fullmatch(spelled):
            return Reading({"coating": name}, rule=f"{spelled} is the coating {name} of the rates")
    return None


def _in_words(spelled: str) -> Reading:
    kind = KIND.search(spelled)
    rest = KIND.sub(" ", spelled)
    percent = PERCENT.search(rest)
    rest = _cut(rest, percent)
    angle = ANGLE.search(rest)
    rest = _cut(rest, angle)
    if kind is None and (percent is None or percent["name"] is None):
        return asked(
            f"{spelled} is not understood as a coating; what is it to do?",
            ("uncoated", "no coating"),
            *_choices("broad", "450", "650", ""),
        )
    band = BAND.search(rest)
    line = None if band is not None else LINES.search(rest)
    rest = _cut(rest, band or line)
    second = LINES.search(rest)
    visible = VISIBLE_WORDS.search(rest)
    rest = VISIBLE_WORDS.sub(" ", rest)
    left = " ".join(FILLERS.sub(" ", rest).split()).strip(" .-+&")
    mirror = (kind is not None and kind["mirror"] is not None) or (percent is not None and percent["sign"] in (">", ">="))
    degrees = "" if angle is None else angle["figure"] or angle["figure2"]
    if second is not None or left:
        return asked(f"{spelled}: not understood is {left or (second and second.group())}; what is the coating to do?")
    if band is None and line is None:
        return _without_band(spelled, mirror, percent, visible is not None)
    first, last = _band_nm(band, line)
    if percent is None:
        return _without_figure(spelled, kind.group() if kind else "", mirror, first, last, degrees)
    mean = (
        ""
        if not (percent["mean"] or percent["mean2"])
        else "the average reflectance is taken as the limit at every wavelength, which is stricter"
    )
    return _demand(percent["figure"], mirror, first, last, degrees, spelled, mean)


def _cut(text: str, found: re.Match[str] | None) -> str:
    return text if found is None else f"{text[: found.start()]} {text[found.end() :]}"


def _band_nm(band: re.Match[str] | None, line: re.Match[str] | None) -> tuple[str, str]:
    found = band or line
    assert found is not None
    factor = 1000 if found["unit"] in ("µm", "um") else 1
    ends = (found["first"], found["last"] if band is not None else found["first"])
    first, last = (decimal_of(end) * (1000 if factor == 1 and decimal_of(end) < 20 else factor) for end in ends)
    return shown(first), shown(last)


def _demand(percent: str, mirror: bool, first: str, last: str, angle: str | None, spelled: str, rule: str) -> Reading:
    """A demand as the fields that it means, or what is wrong with it."""
    limit = "reflectance_min_share" if mirror else "reflectance_max_share"
    share = float(round(decimal_of(percent) / 100, 12)) if percent.count(".") <= 1 else 2.0
    document: dict[str, Any] = {
        limit: share,
        "band_nm": [float(decimal_of(first)), float(decimal_of(last))],
        "angle_deg": float(decimal_of(angle or "0")),
    }
    if document["band_nm"][0] > document["band_nm"][1]:
        turned = f"R {'>=' if mirror else '<='} {percent} % {last} to {first} nm" + (f", {angle} deg" if angle else "")
        return asked(
            f"{spelled}: the band ends before it begins; is it {last} to {first} nm?", (turned, "the band the other way round")
        )
    try:
        found = CoatingDemand.model_validate(document)
    except ValidationError:
        return asked(
            f"{spelled}: a reflectance lies between 0 and 100 %, a wavelength between 150 and 15000 nm, an angle below 90 deg; what is meant?"
        )
    return Reading({"coating": found.model_dump(mode="json")}, rule=rule)


def _choices(usual: str, first: str, last: str, degrees: str) -> tuple[tuple[str, str], ...]:
    sign = ">=" if usual == "mirror" else "<="
    band = f"at {first} nm" if first == last else f"{first} to {last} nm"
    angle = f", {degrees} deg" if degrees else ""
    return tuple(
        (f"R {sign} {percent} % {band}{angle}", f"at {'least' if sign == '>=' else 'most'} {percent} % is reflected {band}")
        for percent in USUAL_PERCENTS[usual]
    )


def _without_figure(spelled: str, kind: str, mirror: bool, first: str, last: str, degrees: str) -> Reading:
    """A band without a reflectance: for lines and bands that the rates have a coating for, that is the first choice."""
    narrow = first == last
    usual = "mirror" if mirror else "line" if narrow else "broad"
    ends = (int(Decimal(first)), int(Decimal(last)))
    name = (
        None
        if mirror
        else V_NAMES.get(ends[0])
        if narrow
        else BROAD_NAMES.get(ends) or ("ar-broadband" if ends in VISIBLE else None)
    )
    named = ((name, f"the coating {name} of the rates"),) if name else ()
    if name and narrow and kind.lower().startswith("v") and not degrees:
        return Reading({"coating": name}, rule=f"{spelled} is the coating {name} of the rates")
    return asked(
        f"{spelled}: how much may it reflect?" if not mirror else f"{spelled}: how much is it to reflect?",
        *named,
        *_choices(usual, first, last, degrees),
    )


def _without_band(spelled: str, mirror: bool, percent: re.Match[str] | None, visible: bool) -> Reading:
    if mirror:
        metals = tuple((name, f"the coating {name} of the rates") for name in ("mirror-aluminium", "mirror-silver"))
        return asked(f"{spelled}: which mirror, or how much at which wavelengths?", *metals)
    if percent is not None:
        share = shown(decimal_of(percent["figure"]))
        return asked(
            f"{spelled}: at which wavelengths?",
            *((f"R <= {share} % {first} to {last} nm", f"{first} to {last} nm") for first, last in VISIBLE[:2]),
        )
    names = (("ar-broadband", "the broad-band coating of the rates"), ("ar-single", "a single layer of MgF2"))
    return asked(
        f"{spelled} does not say which coating, or how much it may reflect"
        + (" in the visible" if visible else " at which wavelengths"),
        *names,
        *_choices("broad", "450", "650", ""),
    )
