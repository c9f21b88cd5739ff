"""Surface form in words: fringes, rings, waves, peak to valley, RMS; and their wavelength.

A fringe spacing is half a wavelength of the surface (ISO 10110-5, from memory): a wave of surface is two, a wave of the wavefront that it
reflects is one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction
from typing import Literal

from services.desk.intake.notation import read_indication
from services.desk.intake.reading import FIGURE, Reading, asked, decimal_of, shown, tidy

REFERENCE_NM = Decimal("546.07")
"""Wavelength of fringe spacings where a drawing states none [nm]. ISO 10110-5, from memory."""

HELIUM_NEON_NM = Decimal("632.8")
SAME_LINE_NM = Decimal("0.2")

Role = Literal["power", "irregularity", "flatness", ""]

WAVE = r"(?:λ|lambda|lamda|waves?|wellenlängen?|welle|ondes?|longueurs? d'onde|wv|L)"
FRINGE = (
    r"(?:(?:fringe spacings?|interference fringes?|fringes?|fr\.?|newton'?s? rings?|interferenzringe?|ringe|rings?|interferenzstreifen|streifen"
    r"|passe|franges?|anneaux|anneau)(?![\w]))"
)
PART = rf"(?:[0-9]+\s?/\s?[0-9]+|{FIGURE})"
AMOUNTS: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (unit, re.compile(pattern, re.IGNORECASE))
    for unit, pattern in (
        ("waves", rf"(?<![\w])(?P<times>{FIGURE})?\s?{WAVE}\s?/\s?(?P<divisor>{FIGURE})"),
        ("waves", rf"(?P<part>{PART})\s?-?\s?{WAVE}(?![\w])"),
        ("waves", r"(?P<word>quarter|half|tenth|eighth|twentieth|viertel|halbe|zehntel)[\s-]?(?:of a )?(?:waves?|lambda|λ|welle)"),
        ("fringes", rf"(?P<part>{PART})\s?-?\s?{FRINGE}"),
        ("nm", rf"(?P<part>{FIGURE})\s?nm\b"),
        ("micrometres", rf"(?P<part>{FIGURE})\s?[µu]m\b"),
        ("waves", r"(?<![\w])(?P<one>λ|lambda)(?![\w])"),
        ("", rf"(?P<part>{PART})"),
    )
)
WORDS_OF_PARTS = {
    "quarter": 4, "viertel": 4, "half": 2, "halbe": 2, "tenth": 10, "zehntel": 10, "eighth": 8, "twentieth": 20,
}  # fmt: skip

ROLES: dict[str, re.Pattern[str]] = {
    role: re.compile(rf"(?<!\w)(?:{pattern})(?!\w)", re.IGNORECASE)
    for role, pattern in {
        "irregularity": r"irregularit(?:y|ies)|irreg\.?|irr\.?|regularity|unregelmäßigkeit|irrégularité|irregularite|astigmatism|ast\.?|figure|figure error|ΔN|delta n",
        "power": r"power|pow\.?|pwr|spheric(?:al|ity)(?: error)?|sphere|sag error|passe|passfehler|krümmungsfehler|puissance|courbure|fit|test ?plate(?: fit)?|N",
        "flatness": r"flatness|flat|ebenheit|planität|planéité",
    }.items()
}
RMS = re.compile(r"\bRMS(?P<letter>[tia])?\b|\bR\.M\.S\.|quadratisch", re.IGNORECASE)
PEAK = re.compile(r"\bP\s?-?\s?[TV]?\s?-?\s?V\b|\bpeak[\s-]?(?:to|2)[\s-]?valley\b|\bPTV\b|\bP/V\b", re.IGNORECASE)
TRANSMITTED = re.compile(r"\bTW[DEF]\b|transmi\w*(?:\s+wave\s?front\w*)?(?:\s+error)?", re.IGNORECASE)
REFLECTED = re.compile(
    r"\bRW[EF]\b|reflect\w*(?:\s+wave\s?front\w*)?(?:\s+error)?|\bwave\s?front\w*(?:\s+error)?|wellenfront\w*", re.IGNORECASE
)
FILLERS = re.compile(
    r"\b(?:surface|surf|accuracy|form|error|max|max\.|maximum|or|better|of|the|less|than|within|on|each|over|ca|clear|aperture|oberfläche|genauigkeit"
    r"|formabweichung|formfehler|forme|de|surface|at|besser|als|tolerance|deviation|peak)\b|<=|[<=:@()≤±,]+",
    re.IGNORECASE,
)
AT_WAVELENGTH = re.compile(
    rf"(?:(?:@|\bat\b|\bbei\b|\bà\b|\bfor\b|(?:λ|lambda|wavelength|wellenlänge|wl)\s?(?:=|:))\s*(?:λ|lambda)?\s?=?\s*)\(?(?P<figure>{FIGURE})\s?(?P<unit>nm|µm|um)?\)?",
    re.IGNORECASE,
)
BEHIND_BRACKETS = re.compile(r"\(\s?(?P<figure>[0-9]{3,4}(?:[.,][0-9]+)?)\s?nm\s?\)")
LASER = re.compile(r"(?:@|\bat\b|\bbei\b|\bà\b)?\s*\bHe-?Ne\b(?:\s*laser)?", re.IGNORECASE)
APART = re.compile(r"\s*;\s*|,\s+|,(?=[^0-9])|\s+/\s+|\s+(?:and|und|et|with|mit)\s+|\s+\+\s+", re.IGNORECASE)
CLAUSE_STARTS = re.compile(r"(?<=[\w.])\s+(?=(?:ΔN|delta n|N)\s*[=:])", re.IGNORECASE)


@dataclass(frozen=True)
class Amount:
    """One figure of a form: how much, in what, of which part, and whether it is an RMS."""

    figure: Fraction
    unit: str
    role: str
    text: str
    rms: str = ""
    of: str = "surface"


@dataclass(frozen=True)
class Terms:
    """The terms of `3/A(B); RMSi < C; λ = W nm`, as written."""

    power: str = "-"
    irregularity: str = ""
    rms: tuple[str, ...] = ()
    wavelength_nm: Decimal | None = None

    def __str__(self) -> str:
        bracket = f"({self.irregularity})" if self.irregularity else ""
        behind = "".join(f"; {term}" for term in self.rms)
        wavelength = "" if self.wavelength_nm is None else f"; λ = {shown(self.wavelength_nm)} nm"
        return f"3/{self.power}{bracket}{behind}{wavelength}"


def read_form(text: str, role: Role = "") -> Reading:
    """`3/3(0.5)`, `λ/4`, `1/4 wave PV @ 633 nm`, `2 fringes power, 0.5 irregularity`, `3 rings / 1 ring`, `RMS λ/50`.

    `role` is what the column is of, where it is of power or of irregularity alone.
    """
    spelled = tidy(text)
    drawn = read_indication("form", text)
    if drawn is not None and (not role or spelled.startswith("3")) and "/" in spelled and drawn.plain:
        return drawn
    passe = re.fullmatch(r"(?:passe|passfehler|passung|form)\s*:?\s*(?P<figures>[0-9.,]+\s?\(.*\)|3/.*)", spelled, re.IGNORECASE)
    if passe is not None:
        inner = read_indication("form", passe["figures"])
        if inner is not None:
            return inner
    if drawn is not None and not role and not _is_pair_of_fringes(spelled):
        return drawn
    amounts, wavelength_nm, left = _amounts(spelled, role)
    if not amounts:
        return drawn or asked(f"{spelled} is not understood as a surface form, such as 3/3(0.5) or λ/4")
    return replace(_made(spelled, amounts, wavelength_nm), left=left)


def joined_forms(first: str, second: str) -> str | None:
    """One indication of two that say different terms of it, such as a power and an irregularity; `None` where they contradict each other."""
    one, other = _terms_of(first), _terms_of(second)
    if one is None or other is None:
        return None
    powers, figures = {one.power, other.power} - {"-"}, {one.irregularity, other.irregularity} - {""}
    wavelengths = {one.wavelength_nm, other.wavelength_nm}
    if len(powers) > 1 or len(figures) > 1 or len(wavelengths) > 1 or (one.rms and other.rms and one.rms != other.rms):
        return None
    return str(Terms(next(iter(powers), "-"), next(iter(figures), ""), one.rms or other.rms, one.wavelength_nm))


def _terms_of(indication: str) -> Terms | None:
    found = re.fullmatch(
        rf"3/(?P<a>-|{FIGURE}(?:nm)?)(?:\((?P<b>[^)]*)\))?(?P<rms>(?:; RMS[tia] < [^;]+)*)(?:; λ = (?P<nm>{FIGURE}) nm)?",
        indication,
    )
    if found is None:
        return None
    rms = tuple(term for term in found["rms"].split("; ") if term)
    return Terms(found["a"], found["b"] or "", rms, decimal_of(found["nm"]) if found["nm"] else None)


def _is_pair_of_fringes(spelled: str) -> bool:
    return re.search(r"[^\W\d_]{2,}|λ|N\s*=", spelled) is not None


def _amounts(spelled: str, role: Role) -> tuple[list[Amount], Decimal | None, str]:
    """The figures of a text, the wavelength that it names, and the words that are neither."""
    rest, wavelength_nm = _without_wavelength(spelled)
    found: list[Amount] = []
    left: list[str] = []
    pair = re.fullmatch(rf"(?P<a>{FIGURE})\s?[/(-]\s?(?P<b>{FIGURE})\)?\s*(?P<unit>{FRINGE})", rest, re.IGNORECASE)
    if pair is not None and decimal_of(pair["a"]) >= decimal_of(pair["b"]):
        rest = f"{pair['a']} {pair['unit']}; {pair['b']} {pair['unit']}"
    of_all = "transmitted" if TRANSMITTED.search(rest) else "reflected" if REFLECTED.search(rest) else "surface"
    for clause in APART.split(CLAUSE_STARTS.sub("; ", rest)):
        amount, words_left = _amount(clause, role)
        if amount is not None:
            found.append(replace(amount, of=of_all))
        if words_left:
            left.append(words_left)
    return _with_units(found), wavelength_nm, " ".join(left)


def _without_wavelength(spelled: str) -> tuple[str, Decimal | None]:
    if LASER.search(spelled):
        rest = LASER.sub(" ", spelled)
        return AT_WAVELENGTH.sub(" ", rest), HELIUM_NEON_NM
    found = AT_WAVELENGTH.search(spelled) or BEHIND_BRACKETS.search(spelled)
    if found is None:
        return spelled, None
    figure = decimal_of(found["figure"])
    micrometres = found.groupdict().get("unit") in ("µm", "um") or figure < 20
    nm = figure * 1000 if micrometres else figure
    if not 150 <= nm <= 15_000:
        return spelled, None
    return f"{spelled[: found.start()]} {spelled[found.end() :]}".strip(), nm


def _amount(clause: str, role: Role) -> tuple[Amount | None, str]:
    rest = clause
    parts = {}
    for name, pattern in (("rms", RMS), ("peak", PEAK), ("transmitted", TRANSMITTED), ("reflected", REFLECTED)):
        parts[name] = pattern.search(rest)
        rest = pattern.sub(" ", rest)
    unit, found = next(((unit, found) for unit, pattern in AMOUNTS if (found := pattern.search(rest)) is not None), ("", None))
    if found is None:
        return None, _rest_of(rest)
    figure = _figure(found)
    rest = f"{rest[: found.start()]} {rest[found.end() :]}"
    said: str = role
    for name, pattern in ROLES.items():
        if pattern.search(rest):
            said = name
            rest = pattern.sub(" ", rest)
    if not said and "passe" in found.group().lower():
        said = "power"
    if figure is None:
        return None, clause.strip()
    rms = parts["rms"]
    letter = "" if rms is None else (rms.groupdict().get("letter") or "i").lower()
    if unit == "micrometres":
        unit, figure = "nm", figure * 1000
    return Amount(figure, unit, said, clause.strip(" ,;"), rms=letter), _rest_of(rest)


def _rest_of(text: str) -> str:
    return " ".join(FILLERS.sub(" ", text).split()).strip(" .-/")


def _figure(found: re.Match[str]) -> Fraction | None:
    groups = found.groupdict()
    if groups.get("word"):
        return Fraction(1, WORDS_OF_PARTS[groups["word"].lower()])
    if groups.get("one"):
        return Fraction(1)
    if groups.get("divisor"):
        divisor = Fraction(decimal_of(groups["divisor"]))
        return None if divisor == 0 else Fraction(decimal_of(groups["times"] or "1")) / divisor
    parts = [Fraction(decimal_of(part)) for part in groups["part"].split("/")]
    figure = None if parts[-1] == 0 else parts[0] if len(parts) == 1 else parts[0] / parts[1]
    return figure or None


def _with_units(amounts: list[Amount]) -> list[Amount]:
    """A figure without a unit has that of the one beside it, else it is of fringes; a part such as 1/4 then is of who knows what."""
    known = next((amount.unit for amount in amounts if amount.unit), "")
    return [
        amount if amount.unit else replace(amount, unit=known or ("parts" if "/" in amount.text else "fringes"))
        for amount in amounts
    ]


def _made(spelled: str, amounts: list[Amount], wavelength_nm: Decimal | None) -> Reading:
    """The indication of some figures, or what is to be asked about them."""
    if any(amount.of == "transmitted" for amount in amounts):
        return asked(
            f"{spelled} is of the wavefront that is transmitted, which a prescription states of the whole lens (13/A(B)); what is the form of this face?"
        )
    bare = next((amount for amount in amounts if amount.unit == "parts"), None)
    if bare is not None:
        return asked(
            f"{spelled}: a part of a wave or of a fringe?",
            (f"{bare.text} wave", "a part of a wave"),
            (f"{bare.text} fringe", "a part of a fringe spacing"),
        )
    rules: list[str] = []
    placed = _placed(amounts, rules)
    if placed is None:
        return _which(spelled, amounts, wavelength_nm)
    terms = Terms(
        wavelength_nm=None if wavelength_nm is None or abs(wavelength_nm - REFERENCE_NM) < SAME_LINE_NM else wavelength_nm
    )
    for role, amount in placed:
        figure = _term(amount, rules)
        if amount.rms:
            terms = replace(terms, rms=(*terms.rms, f"RMS{amount.rms} < {figure}"))
        elif role == "power":
            terms = replace(terms, power=figure)
        else:
            terms = replace(terms, irregularity=figure)
    if wavelength_nm is None and any(amount.unit != "nm" for _, amount in placed):
        rules.append("without a wavelength, fringe spacings count at 546.07 nm (ISO 10110-5)")
    return Reading({"form": str(terms)}, rule="; ".join(dict.fromkeys(rules)))


def _placed(amounts: list[Amount], rules: list[str]) -> list[tuple[str, Amount]] | None:
    """Each figure with its place; `None` where it cannot be told."""
    if len(amounts) > 2:
        return None
    if len(amounts) == 2 and not any(amount.role or amount.rms for amount in amounts):
        rules.append(
            f"of two figures the first is taken as power, the second as irregularity ({amounts[0].text}; {amounts[1].text})"
        )
        return [("power", amounts[0]), ("irregularity", amounts[1])]
    found: list[tuple[str, Amount]] = []
    for amount in amounts:
        others = {other.role for other in amounts if other is not amount}
        role = amount.role or next((free for free in ("irregularity", "power") if others == {"power", "irregularity"} - {free}), "")
        if amount.rms:
            if amount.rms == "i":
                rules.append(f"{amount.text} is taken as RMSi, of the irregularity without power")
            role = "irregularity"
        elif role == "flatness":
            rules.append("flatness limits power and irregularity alike")
            found.append(("power", amount))
            role = "irregularity"
        elif not role and amount.unit in ("waves", "nm"):
            rules.append(f"{amount.text} is taken as irregularity; power is not stated")
            role = "irregularity"
        elif not role:
            return None
        found.append((role, amount))
    places = [(role, bool(amount.rms)) for role, amount in found]
    return found if len(set(places)) == len(places) else None


def _term(amount: Amount, rules: list[str]) -> str:
    """A figure in fringe spacings, or in nanometres where it is stated so; a reflected wavefront shows a surface twice."""
    if amount.unit == "nm":
        return f"{shown(_rounded(amount.figure / (2 if amount.of == 'reflected' else 1)))}nm"
    spacings = amount.figure
    if amount.unit == "waves":
        spacings = amount.figure * (1 if amount.of == "reflected" else 2)
        of = "reflected wavefront" if amount.of == "reflected" else "surface"
        rules.append(f"{amount.text} of {of} is {shown(_rounded(spacings))} fringe spacings")
    elif amount.of == "reflected":
        rules.append(f"{amount.text}: a fringe of the reflected wavefront is one fringe spacing")
    return shown(_rounded(spacings))


def _rounded(figure: Fraction) -> Decimal:
    """Four digits behind the point, rounded to the stricter side; what is exact stays so."""
    exact = Decimal(figure.numerator) / Decimal(figure.denominator)
    least = Decimal("0.0001")
    rounded = exact.quantize(least, rounding=ROUND_FLOOR)
    return rounded if rounded > 0 else exact


def _which(spelled: str, amounts: list[Amount], wavelength_nm: Decimal | None) -> Reading:
    if len(amounts) != 1:
        return asked(f"{spelled}: which figure is the power, which the irregularity?")
    figure = _term(amounts[0], [])
    behind = Terms(wavelength_nm=wavelength_nm)
    both = (
        (str(replace(behind, irregularity=figure)), f"an irregularity of {figure} fringe spacings, power not stated"),
        (str(replace(behind, power=figure)), f"a power of {figure} fringe spacings, irregularity not stated"),
        (str(replace(behind, power=figure, irregularity=figure)), f"power and irregularity of {figure} fringe spacings each"),
    )
    likely = both if amounts[0].figure <= 1 else (both[1], both[0], both[2])
    return asked(f"{spelled}: is that the power or the irregularity?", *likely)
