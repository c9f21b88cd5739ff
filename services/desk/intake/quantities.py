"""Quantities in words: a list, prototypes before a series, spare parts beside the lenses, sets."""

from __future__ import annotations

import re
from typing import Any

from services.desk.intake.reading import Reading, asked, tidy
from shared_schemas.lead_times import LARGEST_QUANTITY

NUMBER = r"(?:[1-9][0-9]{0,2}(?:[ .,'][0-9]{3})+(?![0-9])|[0-9]{1,7}k?)"
PIECES = r"(?:pieces|piece|pcs|pc|units?|ea|each|off|lenses|lens|stück|stk|st|linsen|objektive|pièces?|pces?|lentilles?|objectifs|nos|sets?|sätze|satz|jeux|kits?|assemblies|assys?|objectives)"
SPARE = r"(?:spares?|spare parts?|ersatz(?:teile?|linsen?|stücke?)?|reserve|rechange)"
NAME = r"(?P<part>(?!spare|pcs|of\b)[A-Za-z][A-Za-z0-9._+-]{0,19})"
SPARES = (
    re.compile(
        rf"(?<![\w])(?P<pieces>{NUMBER})\s*(?:x\s*)?(?:{PIECES}\.?\s*)?(?:{SPARE})\s*(?:parts?|elements?|lenses|{PIECES})?\s*(?:of|von|de|für|for)?\s*(?:{NAME})?(?![\w])",
        re.IGNORECASE,
    ),
    re.compile(
        rf"(?<![\w])(?P<pieces>{NUMBER})\s*(?:x\s*)?(?:{PIECES}\.?\s+)?(?:of\s+)?{NAME}\s+(?:as\s+|als\s+)?{SPARE}", re.IGNORECASE
    ),
    re.compile(rf"{SPARE}\s*:?\s*(?P<pieces>{NUMBER})\s*(?:x|of|von|de)?\s*(?:{NAME})?", re.IGNORECASE),
)
PROTOTYPE = r"(?:prototypes?|protos?|prototypen?|muster|samples?|échantillons?|pilot(?: lot| run| series)?|vorserie|nullserie)"
PROTOTYPES = (
    re.compile(rf"(?<![\w])(?P<count>{NUMBER})\s*(?:{PIECES}\.?\s*)?(?:as\s+|als\s+)?{PROTOTYPE}(?![\w])", re.IGNORECASE),
    re.compile(rf"{PROTOTYPE}\s*(?:[:x=]|lots?|{PIECES})?\s*(?:of\s*)?(?P<count>{NUMBER})\s*(?:{PIECES}(?![\w]))?", re.IGNORECASE),
)
YEARLY = re.compile(
    r"\b(?:eau|annual|per year|p\.?\s?a\.?|yearly|pro jahr|jährlich|par an|/\s?(?:yr|year|jahr|an))\b", re.IGNORECASE
)
FILLERS = re.compile(
    rf"(?<![\w])(?:{PIECES}|series|serie|serien|série|production|produktion|qty|quantity|quantities|quantités?|menge|mengen|stückzahl(?:en)?|anzahl|lot|lots|lot sizes?|losgrößen?|batch(?:es)?|of|à|for|für|pour"
    r"|and|und|et|or|oder|ou|alternatively|price breaks?|staffel|at|each|optional(?:ly)?|order|bestellung|please quote|quote|then|dann|danach|anschließend|ensuite|puis|first|zuerst|complete|komplette|sowie|plus|bei|prices?|preise?|prix|with|mit|the|this|these|following|below|attached|doublets?|singlets?|triplets?|achromats?|lens|per|drawing|offer|your|us|a|we|need|require|would|like|to|have|bitte|um|ein|angebot|über|wir|benötigen|brauchen|folgende\w*|anbieten|nous|avons|besoin|de|merci|deviser)(?![\w])\.?"
    r"|(?<![\w])x(?![\w])|[/;:,+&|=()-]",
    re.IGNORECASE,
)
SETS = re.compile(r"(?<![\w])(?:sets?|sätze|satz|jeux|kits?)(?![\w])", re.IGNORECASE)
LIST_BY_COMMAS = re.compile(r"(?<=[0-9]),(?=[0-9]{1,2}(?![0-9])|[0-9]{4})")


def read_quantities(text: str) -> Reading:
    """`10/50/200 pcs`, `5, 25 und 100 Stück`, `prototype 3 + series 100`, `25 lenses + 5 spare L3`."""
    spelled = tidy(text)
    if YEARLY.search(spelled):
        return asked(f"{spelled} is what is needed in a year; which quantities are ordered at once?")
    values: dict[str, Any] = {}
    rules: list[str] = []
    rest, spares = _spares(spelled)
    if any(not spare["part"] for spare in spares):
        return asked(f"{spelled}: spare parts of which element? Write their name, as 5 spare L3")
    if spares:
        values["spares"] = spares
    rest, prototypes = _first_of(PROTOTYPES, rest)
    several = re.search(rf"(?<![0-9]){NUMBER}", rest)
    ambiguous = _ambiguous(spelled, rest)
    if ambiguous is not None:
        return ambiguous
    listed, left = _numbers(re.sub(r"(?<=[0-9]),(?=[0-9])", "; ", rest) if LIST_BY_COMMAS.search(rest) else rest)
    if prototypes is not None and several is not None:
        values["prototypes"] = prototypes
    elif prototypes is not None:
        listed = [prototypes]
    if SETS.search(rest):
        values["delivered"] = "sets"
        rules.append("sets are taken as sets of the parts of a lens that the customer puts together")
    if left:
        return asked(f"{spelled}: not understood is {left}; which quantities are asked for, as 10, 50, 200?")
    return _checked(spelled, values, listed, rules)


def _checked(spelled: str, values: dict[str, Any], listed: list[int], rules: list[str]) -> Reading:
    beyond = next((count for count in listed if not 1 <= count <= LARGEST_QUANTITY), None)
    if beyond is not None:
        return asked(f"{spelled}: a quantity lies between 1 and {LARGEST_QUANTITY}, and {beyond} does not; which is meant?")
    once = list(dict.fromkeys(listed))
    if len(once) < len(listed):
        rules.append(f"{spelled}: a quantity that stands there twice is taken once")
    if once:
        values["quantities"] = once
    if not values:
        return asked(f"{spelled} is no quantity, such as 10, 50, 200")
    return Reading(values, rule="; ".join(rules))


def _spares(text: str) -> tuple[str, list[dict[str, Any]]]:
    found: list[dict[str, Any]] = []
    for pattern in SPARES:
        while (match := pattern.search(text)) is not None:
            part = match["part"] or ""
            part = "" if re.fullmatch(rf"{PIECES}|{FILLERS.pattern}", part, re.IGNORECASE) else part
            found.append({"part": part, "pieces": _whole(match["pieces"])})
            text = f"{text[: match.start()]} {text[match.end() :]}"
    return text, found


def _first_of(patterns: tuple[re.Pattern[str], ...], text: str) -> tuple[str, int | None]:
    for pattern in patterns:
        match = pattern.search(text)
        if match is not None:
            return f"{text[: match.start()]} {text[match.end() :]}", _whole(match["count"])
    return text, None


def _ambiguous(spelled: str, rest: str) -> Reading | None:
    """`100,500` may be one quantity or two; `1,000` is one."""
    if LIST_BY_COMMAS.search(rest):
        return None
    found = re.search(r"(?<![0-9,])([1-9][0-9]{1,2}),([1-9][0-9]{2})(?![0-9,])", rest)
    if found is None:
        return None
    one, two = found.group(), f"{found[1]}; {found[2]}"
    if _whole(one) > LARGEST_QUANTITY:
        return read_quantities(spelled.replace(one, two))
    return asked(
        f"{spelled}: is {one} one quantity or two?",
        (spelled.replace(one, two), f"{found[1]} and {found[2]}"),
        (spelled.replace(one, one.replace(",", "")), one.replace(",", "")),
    )


def _numbers(text: str) -> tuple[list[int], str]:
    found = [_whole(number) for number in re.findall(rf"(?<![\w.]){NUMBER}(?![0-9])", text)]
    rest = re.sub(rf"(?<![\w.]){NUMBER}(?![0-9])\s?x?(?![\w])", " ", text)
    return found, " ".join(FILLERS.sub(" ", rest).split()).strip(" .")


def _whole(written: str) -> int:
    thousands = written.lower().endswith("k")
    return int(re.sub(r"[^0-9]", "", written)) * (1000 if thousands else 1)
