"""Words of a letter that say a figure of a lens: radii, thicknesses, air, diameters, glasses."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from services.desk.intake.glasses import CRYSTALS, SILICA
from services.desk.intake.quantities import PIECES, SPARE
from shared_schemas.published_glasses import published_glass

NUMBER = r"[+-]?\s?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)(?:e[+-]?[0-9]+)?"
UNIT = r"(?:\s?(?:mm|cm|in\b|inch(?:es)?|zoll|\"))?"
UNSIGNED = NUMBER.removeprefix(r"[+-]?\s?")
PLAIN = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
TOLERANCE = (
    rf"(?:\s?\(?(?:±\s?{PLAIN}\s?(?:mm|%)?|\+\s?/\s?-\s?{PLAIN}\s?(?:mm|%)?|[+-]?\s?{PLAIN}\s?/\s?[+-]\s?{PLAIN}\s?(?:mm)?|\+\s?{PLAIN}\s+-\s?{PLAIN}(?:\s?mm)?"
    r"|(?:js|[d-h])[0-9]{1,2}\b)\)?)?"
)
FLAT = r"(?:inf(?:inity)?|∞|plano?|plane|flat|plan|eben)\b"
BENT = r"(?:\s*\(?(?P<bent>convex|cx|concave|cc|konvex|konkav|convexe)\b\)?)?"
COUNT = r"(?:[1-9][0-9]{0,2}(?:[.,'][0-9]{3})+|[0-9]{1,6})"
ALSO_SPARE = rf"(?:\s*(?:\+|and|und|plus)?\s*[0-9]+\s*(?:{PIECES}\s*)?(?:of\s+)?(?:{SPARE}\s+(?:of\s+)?[A-Z][0-9]{{1,2}}|[A-Z][0-9]{{1,2}}\s+{SPARE}))*"
INDEX = r"(?:\s?(?P<n>[0-9]{1,2})(?:\s*[:=]\s*|\s+)|\s*[:=]?\s*)"

PATTERNS: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (kind, re.compile(pattern, re.IGNORECASE))
    for kind, pattern in (
        ("radius", rf"(?<![\w])(?:R|radius|radien|rayon)_?{INDEX}(?P<value>(?:{NUMBER}(?![0-9.,]*\s?%){UNIT}{TOLERANCE}|{FLAT})){BENT}(?!\s?%)"),
        ("thickness", rf"(?<![\w/-])(?:CT|TC|thickness|cent(?:er|re) thickness|mittendicke|dicke|épaisseur(?: au centre)?|t|d){INDEX}(?P<value>{UNSIGNED}{UNIT}{TOLERANCE})(?![\w%]|\s?-\s?[0-9])"),
        ("thickness", rf"(?<![\w.,])(?P<value>{UNSIGNED}\s?mm)\s(?:thick|dick)\b"),
        ("gap", rf"(?<![\w])(?:air(?:[\s-]?(?:gap|space|spacing))?|gap|luft(?:abstand|spalt)?|airspace|spacing|space)_?{INDEX}(?P<value>{UNSIGNED}{UNIT})(?![\w%])"),
        ("clear", rf"(?<![\w])(?:CA|clear (?:aperture|diameter|dia)|free (?:aperture|diameter)|freie öffnung|freier (?:durchmesser|Ø)|ouverture utile|diamètre utile)(?:\s*Ø)?\s*[:=]?\s*(?P<value>{UNSIGNED}{UNIT})(?!\s?[%\w])"),
        ("outer", rf"(?:Ø|(?<![\w])(?:dia(?:m(?:eter|\.)?)?\.?|OD|(?:außen)?durchmesser|diamètre|outer diameter))\s*[:=]?\s*(?P<value>{UNSIGNED}{UNIT}{TOLERANCE})(?!\s?[%])"),
        ("order", rf"(?<![\w.,/-])(?P<value>{COUNT}(?:(?:\s*/\s*{COUNT})*|(?:\s*[,;]\s*{COUNT})*(?:\s*(?:and|und|et|or|oder|\+)\s*{COUNT})?)\s*{PIECES}(?![\w]){ALSO_SPARE})"),
        ("label", r"(?<![\w])(?:L|lens|element|linse|lentille)\s?(?P<value>[0-9]{1,2})\s*[:.)](?=\s|$)"),
        ("outer", rf"(?<![\w.,])(?P<value>{UNSIGNED}\s?(?:mm|\"|inch))\s*(?:Ø|dia(?:meter)?\b|diam\.?|in diameter)"),
    )
)  # fmt: skip
LABELLED_GLASS = re.compile(
    r"(?<![\w])(?:glass|material|glas|verre|werkstoff|glassorte)\s?(?P<n>[0-9]{0,2})\s*[:=]\s*(?P<value>[^,;\n]+?)(?=\s*(?:[,;\n]|$|\s(?:R|CT|Ø|CA)\s?[0-9]))",
    re.IGNORECASE,
)
GLASS_WORD = re.compile(
    r"(?<![\w/.-])(?P<value>(?:(?:Schott|Ohara|Hoya|CDGM)\s+)?(?:[NSPHEDJQM]-[A-Z]{1,5}\s?[0-9]{1,3}[A-Z]{0,4}[0-9]?|[A-Z][A-Za-z]{0,6}-?[0-9]{1,4}[A-Za-z]{0,3})|fused silica|quar[tz]z?glas|quartz(?: glass)?|suprasil|UVFS|sapphire|saphir|germanium"
    r"|silicon|zinc selenide|ZnSe|CaF2|BaF2|calcium fluoride)(?![\w-])",
)
MAKERS_FORM = re.compile(r"(?:(?:schott|ohara|hoya|cdgm)\s+.+)|[nsphedjqm]-[a-z]{1,5}\s?[0-9]{1,3}[a-z]{0,4}[0-9]?", re.IGNORECASE)
CEMENTED = re.compile(r"(?<![\w])(?:cemented|verkittet\w*|gekittet\w*|collé\w*)(?![\w])", re.IGNORECASE)
PLANO = re.compile(
    r"(?<![\w])(?:plano[\s-]?(?:convex|concave)|plan-?(?:konvex|konkav)|plan[\s-]?convexe|PCX|PCV)(?![\w])", re.IGNORECASE
)


@dataclass(frozen=True)
class Phrase:
    """A stretch of a line: what kind of figure it says (`""`: none), the value as it is written, its number (R2: 2), and whether it is bent out or in."""

    line: int
    start: int
    text: str
    kind: str = ""
    value: str = ""
    number: int = 0
    bent: str = ""


def phrases_of(line: str, number: int) -> Iterator[Phrase]:
    """The stretches of a line from left to right, those that say a figure of a lens and those between them."""
    at = 0
    while at < len(line):
        found = _next(line, at, number)
        if found is None:
            break
        if re.search(r"\w", line[at : found.start]):
            yield Phrase(number, at, line[at : found.start])
        yield found
        at = found.start + len(found.text)
    if re.search(r"\w", line[at:]):
        yield Phrase(number, at, line[at:])


def _next(line: str, at: int, number: int) -> Phrase | None:
    """The figure that begins first, of two that begin together the longer."""
    matches = [(kind, found) for kind, pattern in PATTERNS if (found := pattern.search(line, at)) is not None]
    glass = _glass(line, at)
    matches += [("glass", glass)] if glass is not None else []
    if not matches:
        return None
    kind, found = min(matches, key=lambda pair: (pair[1].start(), -pair[1].end()))
    groups = found.groupdict()
    value = groups["value"].strip()
    return Phrase(number, found.start(), found.group(), kind, value, int(groups.get("n") or 0), (groups.get("bent") or "").lower())


def _glass(line: str, at: int) -> re.Match[str] | None:
    labelled = LABELLED_GLASS.search(line, at)
    for found in GLASS_WORD.finditer(line, at):
        if labelled is not None and labelled.start() <= found.start():
            return labelled
        if _is_glass(found["value"]) and not re.match(r"\s*(?:coat|ar\b|layer|schicht)", line[found.end() :], re.IGNORECASE):
            return found
    return labelled


def _is_glass(word: str) -> bool:
    if SILICA.fullmatch(word) or word.lower() in CRYSTALS or word in CRYSTALS.values() or MAKERS_FORM.fullmatch(word):
        return word.lower() != "mgf2"
    return (word.upper() != "MGF2" and published_glass(word) is not None) or re.fullmatch(
        r"(?:SF|LASF|LAFN|LF|LLF|BK|FK|F|K)[0-9]{1,2}A?", word
    ) is not None
