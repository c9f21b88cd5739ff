"""Tolerances in words and signs: of diameter, thickness, radius, of centring and wedge."""

from __future__ import annotations

import math
import re
from decimal import ROUND_FLOOR, Decimal

from services.desk.intake.fits import FIT, HOLE, limits_mm
from services.desk.intake.form_words import FRINGE, WAVE
from services.desk.intake.form_words import read_form as read_form_words
from services.desk.intake.notation import read_indication
from services.desk.intake.reading import FIGURE, LENGTHS_MM, Reading, asked, decimal_of, shown, tidy, words

UNIT = rf"(?P<unit>{words(*LENGTHS_MM)})"
SIGNED = rf"[+-]?\s?{FIGURE}"
BOTH_WAYS = re.compile(rf"(?:±|\+\s?/?\s?-|\+-|plus/minus|tol\.?)\s*(?P<figure>{FIGURE})\s*{UNIT}?", re.IGNORECASE)
ALONE = re.compile(rf"(?P<figure>{FIGURE})\s*{UNIT}?", re.IGNORECASE)
TWO_LIMITS = re.compile(
    rf"(?P<one>{SIGNED})\s*{UNIT}?\s*(?:[/;|,]|\.\.\.?|to|bis|à)?\s*(?P<other>[+-]\s?{FIGURE}|0(?:[.,]0+)?)\s*(?P<unit2>{words(*LENGTHS_MM)})?",
    re.IGNORECASE,
)
AT_MOST = re.compile(rf"(?:max\.?|maximum|<=|<|höchstens|within|max:)\s*(?P<figure>{FIGURE})\s*{UNIT}?", re.IGNORECASE)
PREFIX = re.compile(
    r"^(?:tolerance|toleranz|tolérance|tol\.?|Ø|dia\.?|diameter|ct|thickness|dicke|radius|r)\s*[:=]?\s*(?=[+±h-]|[a-h][0-9]|js)",
    re.IGNORECASE,
)
NOMINAL = re.compile(
    rf"(?P<nominal>(?:Ø|R|dia\.?|CT)?\s*[=:]?\s*[+-]?{FIGURE}\s*(?:mm|in|inch|\")?)\s*(?P<tolerance>(?:±|\+\s?/\s?-|\+-).*|[+-]\s?{FIGURE}\s*(?:mm)?\s*[/;, ]\s*[+-]?\s?{FIGURE}.*"
    rf"|\(?\s?[+-]?0(?:[.,]0+)?\s?/\s?-\s?{FIGURE}.*|\s(?:js|[d-h])\s?[0-9]{{1,2}})",
    re.IGNORECASE,
)
LEAST_MM = Decimal("0.0001")
LARGEST_MM = Decimal(25)


def nominal_and_tolerance(text: str) -> tuple[str, str]:
    """A figure and the tolerance behind it, of `25.4 +0/-0.1`, `Ø25.4 ±0.05`, `25 h7`; the tolerance is empty where none is there."""
    spelled = tidy(text)
    found = NOMINAL.fullmatch(spelled)
    if found is None:
        return spelled, ""
    return found["nominal"].strip(), found["tolerance"].strip().strip("()")


def read_diameter_tolerance(text: str, *, unit_mm: Decimal | None, diameter_mm: Decimal | None) -> Reading:
    """Upper and lower limit of `±0.1`, `+0/-0.1`, `0/-0.02`, `-0.02/-0.05`, `h7`."""
    spelled = PREFIX.sub("", tidy(text)).strip("()[] ")
    if FIT.fullmatch(spelled):
        return _fit(spelled, diameter_mm)
    if HOLE.fullmatch(spelled):
        shaft = spelled.lower()
        return asked(
            f"{spelled} is the tolerance of a hole; a lens is a shaft. Is {shaft} meant?", (shaft, f"the limits {shaft} of a shaft")
        )
    limits = _limits(spelled, unit_mm)
    if limits is None:
        return _limit_one_way(spelled, unit_mm) or asked(
            f"{spelled} is not understood as a tolerance of the diameter, such as +0/-0.1"
        )
    upper, lower, rule = limits
    if upper == lower:
        return asked(f"{spelled}: the two limits of the diameter are the same")
    if max(abs(upper), abs(lower)) > LARGEST_MM:
        return asked(f"{spelled} is wider than any tolerance; what is meant?")
    return Reading({"tolerances.diameter_mm": [float(upper), float(lower)]}, rule=rule)


def _fit(spelled: str, diameter_mm: Decimal | None) -> Reading:
    if diameter_mm is None:
        return asked(f"{spelled} needs the diameter; what are its limits in mm?")
    limits = limits_mm(spelled, diameter_mm=diameter_mm)
    if limits is None:
        return asked(f"{spelled} at a diameter of {shown(diameter_mm)} mm is in no table here; what are its limits in mm?")
    upper, lower = limits
    rule = f"{spelled} at {shown(diameter_mm)} mm is {_signed(upper)}/{_signed(lower)} mm (ISO 286)"
    return Reading({"tolerances.diameter_mm": [float(upper), float(lower)]}, rule=rule)


def _limit_one_way(spelled: str, unit_mm: Decimal | None) -> Reading | None:
    found = AT_MOST.fullmatch(spelled)
    if found is None:
        return None
    figure = shown(_mm(found["figure"], found["unit"], unit_mm))
    return asked(
        f"{spelled}: which way does it lie?",
        (f"+0/-{figure} mm", "below the nominal"),
        (f"±{figure} mm", "on both sides"),
        (f"+{figure}/-0 mm", "above the nominal"),
    )


def read_thickness_tolerance(text: str, *, unit_mm: Decimal | None) -> Reading:
    """The tolerance of `±0.1`, either way."""
    spelled = PREFIX.sub("", tidy(text)).strip("()[] ")
    at_most = AT_MOST.fullmatch(spelled)
    limits = _limits(at_most["figure"] + (at_most["unit"] or "") if at_most else spelled, unit_mm)
    if limits is None:
        return asked(f"{spelled} is not understood as a tolerance of the thickness, such as ±0.1")
    upper, lower, rule = limits
    if upper != -lower:
        middle, half = (upper + lower) / 2, (upper - lower) / 2
        return asked(
            f"{spelled} is not even about the thickness, and tolerances of thickness are kept as ±; for ±{shown(half)} mm the thickness would be"
            f" {_signed(middle)} mm from what is stated. Which ± is to be kept about the thickness as stated?",
            *(
                (f"±{shown(figure)} mm", means)
                for figure, means in ((min(abs(upper), abs(lower)), "the narrower side"), (half, "half of the whole"))
                if figure
            ),
        )
    if upper <= 0 or upper > LARGEST_MM:
        return asked(f"{spelled}: a tolerance of the thickness is above 0 and at most {LARGEST_MM} mm")
    return Reading({"tolerances.centre_thickness_mm": float(upper)}, rule=rule)


def read_radius_tolerance(text: str, *, unit_mm: Decimal | None) -> Reading:
    """`3 fringes` is the power of the form; a length or a share of the radius stands in the remarks, as its power hangs on the clear diameter."""
    spelled = PREFIX.sub("", tidy(text))
    if re.search(rf"{FRINGE}|{WAVE}(?![a-z])|^3\s?/", spelled, re.IGNORECASE):
        return read_form_words(spelled, "power")
    share = re.fullmatch(rf"(?:±|\+\s?/?\s?-)?\s*(?P<figure>{FIGURE})\s*(?P<unit>%|per mille|ppm)", spelled)
    if share is not None:
        return _remark_of_radius(f"±{shown(decimal_of(share['figure']))} {share['unit']}")
    limits = _limits(spelled, unit_mm)
    if limits is None:
        return asked(f"{spelled} is not understood as a tolerance of the radius, such as 3 fringes or ±0.1 %")
    upper, lower, _ = limits
    return _remark_of_radius(f"±{shown(upper)} mm" if upper == -lower else f"{_signed(upper)}/{_signed(lower)} mm")


def _remark_of_radius(tolerance: str) -> Reading:
    rule = f"a tolerance of radius of {tolerance} stands in the remarks; what is priced is the form, 3/A(B), whose A is the power in fringe spacings"
    return Reading({"remarks": f"tolerance of radius {tolerance}"}, rule=rule)


ANGLE = re.compile(
    rf"(?:(?:within|max\.?|<=|<|±|\+/-|höchstens)\s*)?(?P<figure>{FIGURE})\s*(?P<unit>arc\s?-?min(?:utes?|s)?\.?|min(?:utes?|uten)?\b\.?|'{{1,2}}|\"|arc\s?-?sec(?:onds?|s)?\.?|sec(?:onds?)?\b"
    r"|°|deg(?:rees?)?|grad|mrad|µrad|urad)(?:\s*(?:max\.?|or (?:less|better)))?",
    re.IGNORECASE,
)
ARCMIN_IN_A_RADIAN = Decimal(180 * 60) / Decimal(repr(math.pi))
CENTRING_WORDS = (
    r"(?:centr(?:ing|ation|ering)(?: error| tolerance)?|zentrierung|zentrierfehler|centrage|wedge(?: angle)?|keil(?:fehler|winkel)?|coin|surface tilt|tilt|kippung|parallelism"
    r"|parallelität|parallélisme)"
)
ABOUT_WHAT = re.compile(rf"^{CENTRING_WORDS}\s*[:=]?\s*|\s*\(?\b{CENTRING_WORDS}\)?$", re.IGNORECASE)
WEDGE_WORDS = re.compile(r"\b(?:wedge|keil|coin|parallel)", re.IGNORECASE)
DEVIATION = re.compile(r"\b(?:beam )?deviation\b|ablenkung", re.IGNORECASE)
THICKNESS_DIFFERENCE = re.compile(
    rf"(?:etd|etv|edge thickness (?:difference|variation)|δt|ttv)\s*(?:[:=]|<=|<|max\.?)?\s*(?P<figure>{FIGURE})\s*{UNIT}?",
    re.IGNORECASE,
)
RUN_OUT = re.compile(
    rf"(?:tir|fim|run-?\s?out|rundlauf|schlag|edge run-?\s?out)\s*(?:[:=]|<=|<|max\.?)?\s*(?P<figure>{FIGURE})\s*{UNIT}?",
    re.IGNORECASE,
)
DECENTRE = re.compile(
    rf"(?:decent(?:re|er)(?:ing|ed|ation)?|dezentrierung|lateral)\s*(?:[:=]|<=|<|max\.?)?\s*(?P<figure>{FIGURE})\s*{UNIT}?",
    re.IGNORECASE,
)


def read_centring(text: str, *, unit_mm: Decimal | None, diameter_mm: Decimal | None, wedge: bool = False) -> Reading:
    """`4/2'` as on a drawing, `3'`, `3 arcmin`, `1 mrad`, or a thickness difference at the rim (`ETD 0.02`), which needs the diameter."""
    spelled = tidy(text)
    drawn = read_indication("centring", text)
    if drawn is not None and drawn.plain and not drawn.rule:
        return drawn
    unit_missing = re.fullmatch(rf"4\s?/\s?(?P<figure>{FIGURE})", spelled)
    if unit_missing is not None:
        return _which_unit(spelled, shown(decimal_of(unit_missing["figure"])))
    if DEVIATION.search(spelled):
        return asked(f"{spelled} is of the beam; which tilt of a face is meant, as 4/2'?")
    bare = ABOUT_WHAT.sub("", spelled)
    found = ANGLE.fullmatch(bare)
    if found is not None:
        return _tilt(spelled, found, wedge=wedge or WEDGE_WORDS.search(spelled) is not None)
    return drawn or _as_length(spelled, bare, unit_mm, diameter_mm)


def _as_length(spelled: str, bare: str, unit_mm: Decimal | None, diameter_mm: Decimal | None) -> Reading:
    across = THICKNESS_DIFFERENCE.fullmatch(bare)
    if across is not None:
        return _rim_difference(spelled, _mm(across["figure"], across["unit"], unit_mm), diameter_mm)
    run_out = RUN_OUT.fullmatch(bare) or DECENTRE.fullmatch(bare) or ALONE.fullmatch(bare) or AT_MOST.fullmatch(bare)
    if run_out is None:
        return asked(f"{spelled} is not understood as centring, such as 4/2' or 3 arcmin")
    return _run_out(spelled, run_out, unit_mm, diameter_mm)


def _tilt(spelled: str, found: re.Match[str], *, wedge: bool) -> Reading:
    figure, unit = decimal_of(found["figure"]), found["unit"].lower()
    if figure <= 0:
        return asked(f"{spelled}: a tilt is above 0")
    rule = f"{spelled}: a wedge is the tilt of one face against the other, 4/σ" if wedge else ""
    if unit.endswith("rad") and unit != "grad":
        minutes = _down(figure / (1000 if unit == "mrad" else 1_000_000) * ARCMIN_IN_A_RADIAN, Decimal("0.01"))
        rule = "; ".join(filter(None, [rule, f"{shown(figure)} {unit} is {shown(minutes)} minutes of arc"]))
        return Reading({"tolerances.centring": f"4/{shown(minutes)}'"}, rule=rule)
    sign = '"' if unit in ('"', "''") or "sec" in unit else "°" if unit.startswith(("°", "deg", "grad")) else "'"
    return Reading({"tolerances.centring": f"4/{shown(figure)}{sign}"}, rule=rule)


def _rim_difference(spelled: str, difference_mm: Decimal, diameter_mm: Decimal | None) -> Reading:
    if diameter_mm is None or difference_mm <= 0:
        return asked(
            f"{spelled} is a difference of thickness at the rim, and its angle hangs on the diameter; which angle is meant, as 4/2'?"
        )
    minutes = _minutes_of(difference_mm, diameter_mm)
    rule = f"{spelled}: {shown(difference_mm)} mm of thickness across {shown(diameter_mm)} mm of diameter is a wedge of {shown(minutes)} minutes of arc, 4/σ"
    return Reading({"tolerances.centring": f"4/{shown(minutes)}'"}, rule=rule)


def _run_out(spelled: str, found: re.Match[str], unit_mm: Decimal | None, diameter_mm: Decimal | None) -> Reading:
    if found.re is ALONE and not found["unit"]:
        return _which_unit(spelled, shown(decimal_of(found["figure"])))
    length_mm = _mm(found["figure"], found["unit"], unit_mm)
    choices = []
    if diameter_mm is not None and length_mm > 0 and found.re is not DECENTRE:
        minutes = shown(_minutes_of(length_mm, diameter_mm))
        choices.append(
            (
                f"4/{minutes}'",
                f"a tilt of {minutes}', which runs out by {shown(length_mm)} mm across the diameter of {shown(diameter_mm)} mm",
            )
        )
    return asked(f"{spelled} is a length, and centring is stated as the angle of a face; which is meant, as 4/2'?", *choices)


def _which_unit(spelled: str, figure: str) -> Reading:
    return asked(
        f"{spelled} has no unit: minutes and seconds are sixty apart. Which is meant?",
        (f"4/{figure}'", "minutes of arc"),
        (f'4/{figure}"', "seconds of arc"),
    )


def _minutes_of(difference_mm: Decimal, diameter_mm: Decimal) -> Decimal:
    """The angle [arcmin] under which a difference of height lies across a diameter, rounded to the stricter side."""
    angle = Decimal(repr(math.atan2(float(difference_mm), float(diameter_mm))))
    return _down(angle * ARCMIN_IN_A_RADIAN, Decimal("0.01"))


def _down(figure: Decimal, step: Decimal) -> Decimal:
    rounded = figure.quantize(step, rounding=ROUND_FLOOR)
    return rounded if rounded > 0 else figure.quantize(Decimal("1e-6"))


def _limits(spelled: str, unit_mm: Decimal | None) -> tuple[Decimal, Decimal, str] | None:
    """Upper and lower limit [mm], and the rule by which they were read."""
    both = BOTH_WAYS.fullmatch(spelled)
    if both is not None:
        figure = _mm(both["figure"], both["unit"], unit_mm)
        return figure, -figure, ""
    alone = ALONE.fullmatch(spelled)
    if alone is not None:
        figure = _mm(alone["figure"], alone["unit"], unit_mm)
        return figure, -figure, f"{spelled} has no sign and is taken as ±{shown(figure)} mm"
    two = TWO_LIMITS.fullmatch(spelled)
    if two is None or not re.search(r"[+-]", spelled):
        return None
    unit = two["unit2"] or two["unit"]
    limits = [_mm(part, unit, unit_mm) for part in (two["one"], two["other"])]
    if limits[0] > 0 and limits[1] > 0 and not two["one"].startswith("+"):
        return None
    return max(limits), min(limits), ""


def _mm(figure: str, unit: str | None, unit_mm: Decimal | None) -> Decimal:
    """A length [mm] in the unit behind it, else in that of the column, else in mm."""
    value = decimal_of(figure) * (LENGTHS_MM[unit.lower()] if unit else unit_mm or Decimal(1))
    return value + 0


def _signed(figure: Decimal) -> str:
    return f"{'+' if figure >= 0 else ''}{shown(figure)}"
