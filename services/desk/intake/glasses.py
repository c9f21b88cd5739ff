"""Glasses as customers name them: makers' names, codes, index and Abbe number, silica in many words, air and cement."""

from __future__ import annotations

import re

from services.desk.intake.reading import FIGURE, Reading, asked, decimal_of, shown, tidy
from shared_schemas.published_glasses import PublishedGlass, plain, published_glass, without_maker

AIR = {"", "air", "luft", "-", "--", "vacuum", "vakuum", "vide", "none", "aria", "aire", "l'air", "n/a"}
CEMENT = {
    "cement", "cemented", "glue", "glued", "kitt", "verkittet", "gekittet", "kittung", "kleber", "colle", "collé", "collée", "adhesive", "balsam", "canada balsam",
    "kanadabalsam", "uv cement", "optical cement", "uv adhesive", "uv-kleber", "epoxy", "optical adhesive",
}  # fmt: skip
NAMED_CEMENT = re.compile(
    r"(?:norland\s*)?noa[\s-]?[0-9]{2,3}|norland\s*[0-9]{2,3}|vitralit.*|epo-?tek.*|(?:uv )?cement \(?.*\)?", re.IGNORECASE
)
NO_LENS = {"mirror", "spiegel", "miroir"}

SILICA = re.compile(
    r"(?:(?:uv|ir)[\s-]*(?:grade|quality|qualität)?\s*)?(?:synthetic |synthetisches? )?(?:fused[\s-]?(?:silica|quartz)|quartz(?:[\s-]?glass)?|quarz(?:glas)?|kieselglas|silice(?: fondue)?|verre de silice|silica(?: glass)?|f\.?s\.?"
    r"|uvfs|suprasil(?:[\s-]?[0-9]{0,4})?|infrasil(?:[\s-]?[0-9]{0,3})?|herasil(?:[\s-]?[0-9]{0,3})?|homosil(?:[\s-]?[0-9]{0,3})?|spectrosil(?:[\s-]?[0-9]{0,4}[a-z]?)?|lithosil(?:[\s-]?q[0-9]?)?"
    r"|(?:corning[\s-]?)?(?:hpfs[\s-]?)?79[678][0-9](?:[\s-]?[0-9a-f]{1,2})?|hpfs|jgs[\s-]?[123]|sq[\s-]?[01]?|sio2)\s*(?:[\s(,-]*(?:uv|ir)[\s-]*(?:grade|quality|qualität)?\)?)?",
    re.IGNORECASE,
)
CRYSTALS = {
    "calcium fluoride": "CaF2", "calciumfluorid": "CaF2", "fluorure de calcium": "CaF2", "flussspat": "CaF2", "magnesiumfluorid": "MgF2",
    "fluorure de magnésium": "MgF2", "saphir": "sapphire", "silizium": "Si", "silicium": "Si", "zinkselenid": "ZnSe", "séléniure de zinc": "ZnSe",
    "zinksulfid": "ZnS", "bariumfluorid": "BaF2", "caf₂": "CaF2", "mgf₂": "MgF2", "baf₂": "BaF2",
}  # fmt: skip
"""Names in German and French of the rates' crystals."""

NAMES_OF_RATES = {plain(name) for name in (*CRYSTALS.values(), "LiF", "Ge")}
"""Materials that the rates as they are delivered have under their own name."""

CODE = re.compile(r"(?P<index>[0-9]{3})\s?[-/:.\s]?\s?(?P<abbe>[0-9]{3})(?:[./\s]?\s?(?P<density>[0-9]{3}))?")
INDEX = r"(?:n_?d?|index|brechzahl)"
ABBE = r"(?:v_?d|ν_?d|abbe(?:zahl)?(?: number)?|v|ν)"
BY_INDEX = re.compile(
    rf"(?:{INDEX}\s?[=:]?\s?)?(?P<nd>[1-4][.,][0-9]+)\s?(?:[/;,\s]|and|und|et)\s?(?:{ABBE}\s?[=:]?\s?)?(?P<vd>[0-9]{{1,3}}(?:[.,][0-9]+)?)",
    re.IGNORECASE,
)
INDEX_ALONE = re.compile(rf"(?:{INDEX}\s?[=:]?\s?)(?P<nd>[1-4][.,][0-9]+)|(?P<bare>[1-4][.,][0-9]{{3,}})", re.IGNORECASE)
EXACT = re.compile(r"(?P<nd>[1-5](?:\.[0-9]+)?)/(?P<vd>[0-9]{1,3}(?:\.[0-9]+)?)")
OR_EQUAL = re.compile(
    r"[\s,(]*(?:or|oder|ou)\s+(?:equiv(?:alent|\.)?|equal|similar|äquivalent|gleichwertig\w*|vergleichbar\w*|équivalent)\)?$|[\s,(]*equiv(?:alent|\.)?\)?$",
    re.IGNORECASE,
)
EITHER = re.compile(r"\s+(?:or|oder|ou)\s+|\s+/\s+|\s*\|\s*", re.IGNORECASE)
OLD = re.compile(r"[\s,(]*\b(?:old|alt|former|ancien|obsolete|lead(?:ed)?|with lead|bleihaltig|eco|new|neu)\b\)?", re.IGNORECASE)
MAKERS_WORDS = re.compile(r"^(?:material|glass|glas|verre|matériau|werkstoff)\s*[:=]\s*", re.IGNORECASE)


def read_glass(text: str) -> Reading:
    """The glass as the rates or a catalogue have it, under `glass`; air and cement under `medium`.

    A name that is no name of a present catalogue stays as it is written: what a quote takes for it is told here with what is published of it.
    """
    spelled = MAKERS_WORDS.sub("", tidy(text))
    lowered = spelled.lower()
    if lowered in AIR:
        return Reading({"medium": "air"})
    if lowered in CEMENT:
        return Reading({"medium": "cement"})
    if NAMED_CEMENT.fullmatch(spelled):
        return Reading({"medium": "cement"}, rule=f"{spelled} is a cement; which one a prescription does not say")
    if lowered in NO_LENS:
        return asked(f"{spelled} is no glass of a lens; what is the face made of?")
    by_index = _by_index(spelled)
    return by_index or _named(spelled)


def _by_index(spelled: str) -> Reading | None:
    exact = EXACT.fullmatch(spelled)
    found = exact or BY_INDEX.fullmatch(spelled)
    if found is not None:
        return Reading({"glass": {"nd": float(decimal_of(found["nd"])), "vd": float(decimal_of(found["vd"]))}})
    alone = INDEX_ALONE.fullmatch(spelled)
    if alone is not None:
        return asked(
            f"{spelled}: an index alone is no glass; which Abbe number has it, as {alone['nd'] or alone['bare']}/64.17, or which name?"
        )
    code = CODE.fullmatch(spelled)
    if code is not None:
        six = f"{code['index']}{code['abbe']}"
        return Reading({"glass": six if code["density"] is None else f"{six}.{code['density']}"})
    return None


def _named(spelled: str) -> Reading:
    rules = []
    bare = OR_EQUAL.sub("", spelled)
    if bare != spelled:
        rules.append(f"{spelled}: {bare} is taken, and nothing equivalent")
    several = EITHER.split(bare)
    if len(several) > 1:
        choices = ((name, f"{name} for every piece") for name in several if name)
        return asked(f"{spelled} names more than one glass; which is it to be?", *choices)
    name = OLD.sub("", bare).strip()
    if name != bare:
        rules.append(f"{bare} is taken as {name}")
    if SILICA.fullmatch(name):
        if name.lower() != "fused silica":
            rules.append(f"{name} is taken as fused silica, without its grade")
        return Reading({"glass": "fused silica"}, rule="; ".join(rules))
    if name.lower() in CRYSTALS:
        name = CRYSTALS[name.lower()]
        rules.append(f"{spelled} is {name}")
    published = published_glass(name)
    if published is not None and plain(name) not in NAMES_OF_RATES:
        rules.append(_foreign(name, published))
    if re.fullmatch(FIGURE, name) or not re.search(r"\w", name):
        return asked(f"{spelled} is no glass; what is meant?")
    if len(name) > 60:
        return asked(f"{spelled[:60]}… is longer than any name of a glass; what is meant?")
    return Reading({"glass": name}, rule="; ".join(rules))


def _foreign(name: str, published: PublishedGlass) -> str:
    bare, _ = without_maker(name)
    return (
        f"{bare} is a name of {published.maker} with published nd {shown(published.nd)} and vd {shown(published.vd)}; the quote takes a glass of the rates of"
        " that name, or else one whose nd differs by less than 0.0001 and vd by at most 0.3 %"
    )
