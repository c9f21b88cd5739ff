"""Indications of ISO 10110 as they are written in cells: with their slips, without their head, or nearly right."""

from __future__ import annotations

import re

from services.desk.intake.reading import Reading, asked, tidy
from shared_schemas.indications import NOTATIONS

HEADS = {
    "form": "3/", "imperfections": "5/", "laser_damage": "6/", "centring": "4/", "stress_birefringence": "0/", "bubbles": "1/",
    "inhomogeneity": "2/", "transmitted_wavefront": "13/", "assembly_imperfections": "15/",
}  # fmt: skip
"""How an indication begins; that of texture has no head."""

PLACES = {"centring": "tolerances.centring"}
"""Where an indication stands in its part of the prescription, when that is not its own name."""

KIND_IN_WORDS = {
    "form": "surface form", "imperfections": "surface imperfections", "texture": "surface texture", "laser_damage": "laser damage",
    "centring": "centring", "stress_birefringence": "stress birefringence", "bubbles": "bubbles and inclusions", "inhomogeneity": "inhomogeneity",
    "transmitted_wavefront": "the transmitted wavefront", "assembly_imperfections": "imperfections of an assembly",
}  # fmt: skip

TYPING_SLIPS = str.maketrans({"[": "(", "]": ")", "{": "(", "}": ")", "\\": "/", ":": ";", "|": "/"})
MISREAD = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1", "S": "5"})
LONGEST = 80


def place_of(name: str) -> str:
    """The field of an indication, below its face, its element or the whole."""
    return PLACES.get(name, name)


def read_indication(name: str, text: str) -> Reading | None:
    """An indication that is written as one, or with a slip that leaves no doubt; `None` where it is neither one nor nearly one.

    One that is nearly right is asked about with the repair.
    """
    notation = NOTATIONS[name]
    verbatim = text.strip()
    if len(verbatim) <= LONGEST and notation.is_followed_by(verbatim):
        return Reading({place_of(name): verbatim})
    spelled = _spelled(text)
    if len(spelled) > LONGEST:
        return None
    if notation.is_followed_by(spelled):
        return Reading({place_of(name): spelled})
    head = HEADS.get(name, "")
    headless = f"{head}{spelled}"
    if head and not re.match(r"1?[0-9] ?/", spelled) and notation.is_followed_by(headless):
        return Reading(
            {place_of(name): headless},
            rule=f"{spelled} stands for {headless}: an indication of {KIND_IN_WORDS[name]} begins with {head}",
        )
    return _nearly(name, spelled)


def _nearly(name: str, spelled: str) -> Reading | None:
    notation = NOTATIONS[name]
    for repaired in _repairs(spelled):
        if repaired != spelled and notation.is_followed_by(repaired):
            return asked(
                f"{spelled} is nearly an indication of the kind {notation.words}; is {repaired} meant?",
                (repaired, f"{repaired} is meant"),
            )
    head = HEADS.get(name)
    if head and spelled.startswith(head):
        return asked(f"{spelled} is no indication of the kind {notation.words}; how is it to be read?")
    return None


def _repairs(spelled: str) -> list[str]:
    """What may have been meant by an indication that is nearly right."""
    turned = spelled.translate(TYPING_SLIPS)
    closed = turned + ")" * (turned.count("(") - turned.count(")"))
    opened = closed if closed.count(")") <= closed.count("(") else closed.rstrip(")")
    found = [turned, closed, opened]
    found += [text.translate(MISREAD) for text in (spelled, turned, closed)]
    found += [re.sub(r"^(\d+)/(\S+?)/(\S+)$", r"\1/\2(\3)", closed)]
    found += [re.sub(r"(?<=[0-9])\s*(?:of|mal|fois|@|X|\s)\s*(?=[0-9.,])", "x", closed)]
    found += [re.sub(r"\s*,\s*(?=[CLEW]|\d+$)", "; ", closed), re.sub(r"(?<=\d)(?=[CLEW])", "; ", closed)]
    return found


def _spelled(text: str) -> str:
    """An indication with the signs of the notation: one sign for times, no blank before the slash."""
    spelled = tidy(text).replace("<=", "≤").replace("''", '"')
    spelled = re.sub(r"^(1?[0-9]) ?/ ?", r"\1/", spelled)
    return re.sub(r"(?<=[0-9]) ?[*·✕✖╳×хХ] ?(?=[0-9.,])", "x", spelled)
