"""Surface quality in words: scratch and dig, texture, laser damage."""

from __future__ import annotations

import re
from decimal import Decimal

from services.desk.intake.notation import read_indication
from services.desk.intake.reading import FIGURE, LENGTHS_MM, Reading, asked, decimal_of, shown, tidy
from shared_schemas.indications import NOTATIONS

SCRATCH_DIG = re.compile(r"(?P<before>[^0-9]*)(?P<scratch>[0-9]{1,3})\s*[-/:]\s*(?P<dig>[0-9]{1,4})(?P<behind>.*)", re.IGNORECASE)
STANDARD = re.compile(
    r"mil[\s-]*(?:prf|o|std)?[\s-]*(?:13830|1241)?\s*[ab]?\b[\s:,-]*|ansi[\s/]*(?:osa|oeosc)?[\s/]*op1\.002[\s:,-]*", re.IGNORECASE
)
SCRATCH_WORDS = {
    "s", "d", "sd", "s-d", "s/d", "scratch", "dig", "scratches", "digs", "scratch-dig", "scratch/dig", "surface", "quality", "cosmetics", "sq",
    "kratzer", "löcher", "und", "and", "&", "oberflächenqualität", "oberflächengüte", "rayures", "piqûres", "qualité", "de", "per", "nach", "selon", "in", "ca",
    "polish", "cosmetic", "to", "imperfections",
}  # fmt: skip
LIMIT_WORDS = {
    "better",
    "than",
    "or",
    "max",
    "max.",
    "<",
    "<=",
    "besser",
    "als",
    "oder",
    "mieux",
    "que",
    "ou",
    "meilleur",
    "meilleure",
    "at",
    "least",
}
SCRATCH_NUMBERS = (10, 20, 40, 60, 80, 120)
USUAL_PAIRS = ("10-5", "20-10", "40-20", "60-40", "80-50")
DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[ T].*)?|[0-9]{1,2}[./-][0-9]{1,2}[./-][0-9]{2,4}")


def read_quality(text: str) -> Reading:
    """`5/3x0.16` as on a drawing, or scratch and dig such as `60-40`, `S/D 20-10`, `MIL 40-20`, `better than 60-40`.

    Scratch and dig are never turned into grades: there is no official equivalence.
    """
    spelled = tidy(text)
    if DATE.fullmatch(spelled):
        return asked(
            f"{spelled} is a day; a spreadsheet makes one of scratch and dig such as 10-5. What stood there?",
            *((pair, f"scratch {pair.replace('-', ', dig ')}") for pair in USUAL_PAIRS),
        )
    return _scratch_dig(spelled) or read_indication("imperfections", text) or asked(_not_understood(spelled))


def _not_understood(spelled: str) -> str:
    return f"{spelled} is understood neither as 5/NxA nor as scratch and dig"


def _scratch_dig(spelled: str) -> Reading | None:
    named = STANDARD.search(spelled)
    bare = STANDARD.sub(" ", spelled) if named else spelled
    found = SCRATCH_DIG.fullmatch(bare.strip(" .,;:"))
    if found is None:
        return None
    around = _words(f"{found['before']} {found['behind']}")
    slash = "/" in bare[found.start("scratch") :]
    scratch, dig = int(found["scratch"]), int(found["dig"])
    if not around <= SCRATCH_WORDS | LIMIT_WORDS or scratch < 1 or (slash and not around and scratch not in SCRATCH_NUMBERS):
        return None
    if dig < 1:
        return asked(f"{spelled}: a dig number is at least 1. What is meant?", (f"{scratch}-5", f"scratch {scratch}, dig 5"))
    pair = f"{scratch}-{dig}"
    if scratch < dig and f"{dig}-{scratch}" in USUAL_PAIRS and "s-d" not in spelled.lower():
        return asked(
            f"{spelled}: scratch comes first, and a scratch of {scratch} with a dig of {dig} is unusual. Which is meant?",
            (f"S-D {pair}", f"scratch {scratch}, dig {dig}, as written"),
            (f"{dig}-{scratch}", f"scratch {dig}, dig {scratch}"),
        )
    if NOTATIONS["imperfections"].is_followed_by(spelled):
        return Reading({"imperfections": spelled})
    rules = [f"scratch and dig of {named.group().strip(' :,-')} stand as {pair}, in whichever edition" if named else ""]
    rules.append(f"{spelled} is taken as the limit {pair}" if around & LIMIT_WORDS else "")
    return Reading({"imperfections": pair}, rule="; ".join(filter(None, rules)))


def _words(text: str) -> set[str]:
    return {word.strip(".,;:()") for word in re.split(r"[\s=:,()]+", text.lower()) if word.strip(".,;:()-/")}


ROUGHNESS = re.compile(
    rf"(?P<sign>R[qazt]|RMS|rms)?\s*(?:<=|<|=|:)?\s*(?:roughness|rauheit|rugosité)?\s*(?P<sign2>R[qazt]|RMS|rms)?\s*(?P<limit><=|<)?\s*(?P<figure>{FIGURE})"
    r"\s*(?P<unit>nm|µm|um|Å|A|Angstroms?|Ångströms?)\s*(?P<sign3>rms|RMS|R[qazt])?",
)
FINISH = {
    "P": "polished polish poliert poli polie politur optical optically",
    "G": "ground fine-ground feingeschliffen geschliffen matt matte dépoli depoli frosted grob",
}
FINISH_OF = {word: sign for sign, several in FINISH.items() for word in several.split()}


def read_texture(text: str) -> Reading:
    """`P3`, `P3; Rq 2 nm`, `Rq 2 nm`; `1 nm rms`, `5 Å`, `polished`, `ground`."""
    spelled = tidy(text)
    drawn = read_indication("texture", text)
    if drawn is not None and drawn.plain:
        return drawn
    found = ROUGHNESS.fullmatch(re.sub(r"^(?:roughness|rauheit|rugosité)\s*:?\s*", "", spelled, flags=re.IGNORECASE))
    if found is not None:
        return _roughness(spelled, found)
    finishes = {FINISH_OF.get(word) for word in spelled.lower().split()}
    if len(finishes) == 1 and None not in finishes:
        sign = finishes.pop()
        return Reading({"texture": sign}, rule=f"{spelled} is the texture {sign} of ISO 10110-8, without a grade")
    return drawn or asked(f"{spelled} is not understood as a texture, such as P3 or Rq 2 nm")


def _roughness(spelled: str, found: re.Match[str]) -> Reading:
    sign = found["sign"] or found["sign2"] or found["sign3"] or ""
    angstrom = found["unit"].lower()[0] in ("å", "a")
    figure = decimal_of(found["figure"]) / (10 if angstrom else 1)
    unit = "nm" if angstrom else found["unit"].replace("um", "µm")
    if not sign:
        pairs = (
            (f"{kind} {shown(figure)} {unit}", means) for kind, means in (("Rq", "root mean square"), ("Ra", "arithmetic mean"))
        )
        return asked(f"{spelled}: which roughness is it?", *pairs)
    kind = "Rq" if sign.upper() == "RMS" else sign
    rule = f"{spelled} is taken as {kind}, the root mean square" if sign.upper() == "RMS" else ""
    return Reading({"texture": f"{kind} {shown(figure)} {unit}"}, rule=rule)


DENSITY = re.compile(rf"(?P<figure>{FIGURE})\s*(?P<unit>(?:[mkMG]?W|m?J)\s*/\s*cm\s*(?:2|²|\^2))")
NUMBER_NM = re.compile(rf"(?P<figure>{FIGURE})\s*(?P<unit>nm|µm|um)\b")
PULSE = re.compile(rf"{FIGURE}\s*(?:[fpnµum]s|[kM]?Hz|cw)\b|\bcw\b", re.IGNORECASE)
DAMAGE_WORDS = re.compile(
    r"\b(?:lidt|ldt|damage|threshold|laser|zerstörschwelle|seuil|endommagement|pulse[sd]?|pulsed|at|bei|à|induced|min|rep|rate)\b|[>@,;:()=]+|>=",
    re.IGNORECASE,
)


def read_laser_damage(text: str) -> Reading:
    """`6/10 J/cm2; 1064 nm; 10 ns`, or `LIDT > 10 J/cm² @ 1064 nm, 10 ns`."""
    drawn = read_indication("laser_damage", text)
    spelled = tidy(text)
    density = DENSITY.search(spelled)
    if (drawn is not None and drawn.plain) or density is None:
        return drawn or asked(f"{spelled} is not understood as laser damage, such as 6/10 J/cm2; 1064 nm; 10 ns")
    rest = spelled.replace(density.group(), " ")
    wavelength = NUMBER_NM.search(rest)
    if wavelength is None:
        return asked(f"{spelled}: at which wavelength?", (f"6/{_density(density)}; 1064 nm", "at 1064 nm"))
    rest = rest.replace(wavelength.group(), " ")
    pulses = [pulse.group() for pulse in PULSE.finditer(rest)]
    left = " ".join(DAMAGE_WORDS.sub(" ", PULSE.sub(" ", rest)).split()).strip(" -.")
    nm = decimal_of(wavelength["figure"]) * LENGTHS_MM[wavelength["unit"]] / LENGTHS_MM["nm"]
    return Reading({"laser_damage": "; ".join([f"6/{_density(density)}", f"{shown(Decimal(nm))} nm", *pulses])}, left=left)


def _density(found: re.Match[str]) -> str:
    unit = found["unit"].replace(" ", "").replace("cm²", "cm2").replace("cm^2", "cm2")
    return f"{shown(decimal_of(found['figure']))} {unit}"
