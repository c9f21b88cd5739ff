"""A remark read word by word: each clause by the kind that it names or that its words belong to; what belongs to none is left."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from services.desk.intake.form_words import FRINGE, WAVE, joined_forms
from services.desk.intake.reading import FIGURE, Reading, tidy
from shared_schemas.intake import Choice

ReadKind = Callable[[str, str], Reading]
"""Reads a text as a kind."""

LABELS = {
    "coating": r"coatings?|beschichtung(?:en)?|vergütung|schicht|traitements?|revêtement",
    "surface_quality": r"surface quality|quality|s/d|s-d|scratch[\s/-]*dig|scratch and dig|cosmetics?|sauberkeit|oberflächen(?:qualität|güte|fehler)|qualité(?: de surface)?|surface imperfections",
    "irregularity": r"irregularity|irreg\.?|unregelmäßigkeit|irrégularité",
    "power": r"power|passfehler",
    "form": r"(?:surface )?(?:form|figure|accuracy|flatness)|passe|oberflächenform|forme|fringes",
    "wedge": r"wedge(?: angle)?|keil(?:fehler|winkel)?|coin",
    "centring": r"centr(?:ing|ation|ering)(?: error| tolerance)?|zentrier(?:ung|fehler)|zentriertoleranz|centrage",
    "texture": r"(?:surface )?(?:texture|roughness)|rauheit|rugosité",
    "diameter_tolerance": r"(?:dia(?:m|meter)?\.?|Ø|od|durchmesser)[\s-]*tol(?:erance|eranz)?\.?|durchmessertoleranz",
    "thickness_tolerance": r"(?:ct|cth|thickness|dicken?)[\s-]*tol(?:erance|eranz)?\.?|dickentoleranz",
    "radius_tolerance": r"(?:r|radius|radien)[\s-]*tol(?:erance|eranz)?\.?|radientoleranz",
    "bubbles": r"bubbles(?: and inclusions)?|blasen|bulles",
    "inhomogeneity": r"inhomogeneity|striae|schlieren|homogeneity",
    "stress_birefringence": r"(?:stress )?birefringence|spannungs(?:doppelbrechung)?",
    "laser_damage": r"laser damage(?: threshold)?|lidt|ldt|zerstörschwelle",
    "glass": r"glass(?: type)?|material|glas|werkstoff|verre|matière",
}
LABEL = {
    kind: re.compile(rf"(?:{words})(?:\s*(?P<sign>[:=])\s*|\s+)(?P<value>.+)", re.IGNORECASE) for kind, words in LABELS.items()
}

SIGNS_OF: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (kind, re.compile(pattern, re.IGNORECASE))
    for kind, pattern in (
        ("form", r"3\s?/\s?[0-9.,(–-].*"),
        ("centring", r"4\s?/\s?[0-9.,].*"),
        ("surface_quality", r"5\s?/\s?[0-9].*"),
        ("laser_damage", r"6\s?/\s?[0-9.,].*|.*(?:lidt|j/cm).*"),
        ("stress_birefringence", r"0\s?/\s?[0-9.,-]+(?:\s?nm/cm)?"),
        ("bubbles", r"1\s?/\s?[0-9]+\s?[x×*].*"),
        ("inhomogeneity", r"2\s?/\s?[0-9-]\s?;.*"),
        ("surface_quality", r"(?:.*\b(?:s/d|s-d|sd|scratch|dig|mil|kratzer)\b.*)|(?:better than )?(?:10|20|40|60|80|120)\s?[-/]\s?(?:5|10|20|40|50|60)(?: or better)?"),
        ("centring", r".*\b(?:centr|zentr|wedge|keil|coin\b|tilt|etd|etv|tir\b|fim\b|run-?out|decent|parallel).*"),
        ("diameter_tolerance", r"(?:Ø|(?:dia|diameter|durchmesser|od)\b)[\s:=]*(?:tol\w*\.?\s*)?(?:[+±].*|[d-h][0-9]{1,2}|0\s?/\s?-.*)"),
        ("thickness_tolerance", r"(?:ct|thickness|dicke|cth|d)\b[\s:=]*(?:tol\w*\.?\s*)?[+±].*"),
        ("radius_tolerance", r"(?:r|radius|radien)\b[\s:=]*(?:tol\w*\.?\s*)?[+±].*"),
        ("texture", rf"R[qa]\s?[<≤=]?.*|P\s?[1-4](?:\s?;.*)?|.*(?:roughness|rauheit|rugosité).*|.*\brms\b.*(?:å|nm)|polished|poliert|{FIGURE}\s?(?:å|nm)\s?rms"),
        ("form", rf".*(?:{WAVE}\s?/\s?[0-9]|[0-9]\s?-?\s?(?:{WAVE}\b|{FRINGE})|λ|\birregularity\b|\bΔN\b).*"),
        ("coating", r".*(?:\bar\b|\bbbar\b|\bhr\b|\bar-|mgf2|coat|beschichtet|entspiegel|vergüt|sans traitement|antire|v-coat|mirror-|verspiegel|\bR\s?(?:avg\s?)?(?:<|>|<=|>=)\s?[0-9.,]+\s?%).*"),
    )
)  # fmt: skip
"""By which signs a clause without a label belongs to a kind, the surest first."""

FRONT = r"(?:s1|r1|f1|l|left|front|front (?:face|side|surface)|side 1|surface 1|fläche 1|seite 1|links|vorderseite|vorne|face 1|face avant|surf\.? 1)"
BACK = r"(?:s2|r2|f2|r|right|back|rear|back (?:face|side|surface)|side 2|surface 2|fläche 2|seite 2|rechts|rückseite|hinten|face 2|face arrière|surf\.? 2)"
BOTH = (
    r"(?:both|both (?:sides|surfaces|faces)|on both (?:sides|surfaces|faces)|all (?:sides|surfaces|faces)|each (?:side|surface|face)|per surface|per side|2 sides|two sides|s1\s?[+&/,]\s?s2|r1\s?[+&/]\s?r2"
    r"|beide(?:n)? (?:seiten|flächen)|beidseitig|allseitig|(?:les )?deux faces|2 faces|s1 and s2|s1 und s2|on all (?:surfaces|faces))"
)
FACES: tuple[tuple[tuple[str, ...], re.Pattern[str]], ...] = tuple(
    (faces, re.compile(rf"^{words}\s*[:=]\s*|^{longer}\s+|\s+(?:on |auf |sur )?{longer}$|\s*\(\s?{words}\s?\)$", re.IGNORECASE))
    for faces, words, longer in (
        (("front", "back"), BOTH, BOTH),
        (
            ("front",),
            FRONT,
            r"(?:s1|r1|front(?: (?:face|side|surface))?|fläche 1|seite 1|face 1|surface 1|side 1|left side|vorderseite)",
        ),
        (
            ("back",),
            BACK,
            r"(?:s2|r2|back(?: (?:face|side|surface))?|fläche 2|seite 2|face 2|surface 2|side 2|right side|rückseite)",
        ),
    )
)
OF_A_FACE = ("form", "imperfections", "texture", "laser_damage", "coating")
APART = re.compile(r"(\s*;\s*|,\s+|,(?=[^0-9])|\n+|\s+\+\s+(?=[A-Za-z])|\s+\|\s+)")
LONGEST_RUN = 5
LONGEST_ANSWER = 200


def faces_of(text: str) -> tuple[str, tuple[str, ...]]:
    """A clause without the words that say of which faces it is, and these faces."""
    for faces, pattern in FACES:
        rest = pattern.sub("", text, count=1).strip()
        if rest != text and rest:
            return rest, faces
    return text, ()


def read_remark(text: str, read: ReadKind) -> Reading:
    """What the clauses of a remark mean together. Fields of a face begin with `front.` or `back.` where the clause says which."""
    pieces = APART.split(text.replace("\r", "").strip())
    clauses, between = pieces[::2], [*pieces[1::2], ""]
    found = Reading()
    left: list[str] = []
    at = 0
    while at < len(clauses):
        length, clause, reading = _longest(clauses, between, at, read)
        at += length
        if reading is None:
            left += [clause] if clause.strip() else []
        elif reading.asks:
            if not found.asks:
                found = replace(found, asks=reading.asks, choices=whole_answers(text, clause, reading.choices))
        else:
            joined = _joined(found.values, reading.values)
            if joined is None:
                left.append(clause)
            else:
                found = replace(found, values=joined).by_rule(reading.rule)
            left += [reading.left] if reading.left else []
    return replace(found, left="; ".join(left))


def _longest(clauses: list[str], between: list[str], at: int, read: ReadKind) -> tuple[int, str, Reading | None]:
    """The longest run of clauses from a place on that means something together, else the first with what is to be asked about it."""
    first: tuple[int, str, Reading | None] = (1, clauses[at].strip(), None)
    for length in range(min(LONGEST_RUN, len(clauses) - at), 0, -1):
        parts = [part for pair in zip(clauses[at : at + length], between[at : at + length], strict=True) for part in pair]
        run = "".join(parts[:-1]).strip()
        reading = _clause(run, read)
        if reading is not None and (reading.plain or length == 1):
            return length, run, reading
    return first


def _clause(text: str, read: ReadKind) -> Reading | None:
    """A clause by its label, or by the kinds that it has signs of; `None` where it belongs to none."""
    spelled, faces = faces_of(tidy(text))
    for kind, pattern in LABEL.items():
        labelled = pattern.fullmatch(spelled)
        if labelled is not None:
            value, more = faces_of(labelled["value"])
            reading = read(kind, value)
            if labelled["sign"] or (reading.plain and reading.values):
                return _of_faces(reading, faces or more)
    questions = []
    for kind, pattern in SIGNS_OF:
        if pattern.fullmatch(spelled):
            reading = read(kind, spelled)
            if reading.plain and reading.values:
                return _of_faces(reading, faces)
            questions.append(reading)
    return next((question for question in questions if question.asks), None)


def _of_faces(reading: Reading, faces: tuple[str, ...]) -> Reading:
    """The same of the faces that were named."""
    if not faces or not any(name in OF_A_FACE for name in reading.values):
        return reading
    placed = {f"{face}.{name}": value for name, value in reading.values.items() if name in OF_A_FACE for face in faces}
    return replace(reading, values={**{name: value for name, value in reading.values.items() if name not in OF_A_FACE}, **placed})


def _joined(values: dict[str, Any], more: dict[str, Any]) -> dict[str, Any] | None:
    """Both together; two parts of a form are joined, and what contradicts what was read before is not taken."""
    joined = dict(values)
    for name, value in more.items():
        before = joined.get(name)
        if name not in joined or before == value:
            joined[name] = value
        elif name == "remarks":
            joined[name] = f"{before}; {value}"
        elif name.endswith("form") and (form := joined_forms(str(before), str(value))) is not None:
            joined[name] = form
        else:
            return None
    return joined


def whole_answers(text: str, clause: str, choices: tuple[Choice, ...]) -> tuple[Choice, ...]:
    """Answers that stand for the whole remark: the clause in question replaced in it."""
    answers = [(text.replace(clause, choice.answer, 1), choice.means) for choice in choices]
    return tuple(Choice(answer=answer, means=means) for answer, means in answers if 0 < len(answer) <= LONGEST_ANSWER)
