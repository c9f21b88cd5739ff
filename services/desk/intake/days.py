"""Days as customers write them: in figures of any order, with names of months, by week of the calendar."""

from __future__ import annotations

import calendar
import re
from datetime import date, timedelta
from functools import cache
from itertools import product

from babel import Locale

from services.desk.intake.reading import Reading, asked, tidy

LANGUAGES = ("en", "de", "fr")
YEAR = r"(?P<y>[0-9]{4}|[0-9]{2})"
IN_FIGURES = re.compile(r"(?P<y>[0-9]{4})[-/.](?P<m>[0-9]{1,2})[-/.](?P<d>[0-9]{1,2})(?:[ T]00:00(?::00)?)?")
ENDS_IN_YEAR = re.compile(rf"(?P<one>[0-9]{{1,2}})\s?(?P<sign>[./-])\s?(?P<other>[0-9]{{1,2}})\s?(?P=sign)\s?{YEAR}")
DAY_FIRST = re.compile(rf"(?P<d>[0-9]{{1,2}})(?:st|nd|rd|th|er|\.)?[\s-]*(?:of\s+)?(?P<month>[^\W\d_]+)\.?[\s,-]*{YEAR}")
MONTH_FIRST = re.compile(rf"(?P<month>[^\W\d_]+)\.?\s*(?P<d>[0-9]{{1,2}})(?:st|nd|rd|th)?\s*,?\s+{YEAR}")
MONTH_ALONE = re.compile(
    rf"(?:(?P<part>begin(?:ning)?|start|early|mid|middle|end|late|anfang|mitte|ende|début|mi|fin)[\s-]*(?:of\s+|de\s+)?)?(?P<month>[^\W\d_]+)\.?\s*,?\s*{YEAR}"
)
QUARTER = re.compile(rf"q\s?(?P<quarter>[1-4])[\s/.-]*{YEAR}")
OF_WEEK = re.compile(
    rf"(?:kw|cw|ww|wk|week|calendar week|kalenderwoche|semaine|sem\.?|s)[\s.]*(?P<week>[0-9]{{1,2}})[\s/.,-]*(?:of\s+)?{YEAR}|(?P<y2>[0-9]{{4}})-?w(?P<week2>[0-9]{{1,2}})"
)
AHEAD = re.compile(
    r"(?:in|within|innerhalb(?: von)?|innert|dans|sous|ca\.?|approx\.?)?\s*(?P<count>[0-9]{1,3})\s*(?:-\s*[0-9]{1,3}\s*)?(?P<unit>days?|tagen?|jours?|weeks?|wks?|wochen?|semaines?|months?|monaten?|mois)(?: aro)?"
)
SOON = re.compile(
    r"asap|a\.s\.a\.p\.?|urgent(?:ly)?|dringend|eilig|schnellstmöglich|as soon as possible|so bald wie möglich|au plus vite|dès que possible"
)
BEFORE = re.compile(
    r"^(?:(?:needed|required|wanted|due|delivery|deliver(?:ed)?|shipment|ship|lieferung|liefertermin|wunschtermin|termin|livraison|need|date|at the latest|spätestens|until|before|no later than|by|bis|zum|am|vor"
    r"|avant|pour|le|on|the|latest|target)\b[\s:.]*)+"
)
DAYS_IN = {"d": 1, "t": 1, "j": 1, "w": 7, "s": 7}
FRIDAY = 5


def read_day(text: str, *, today: date | None = None) -> Reading:
    """The day of `2027-03-15`, `15.03.2027`, `March 15, 2027`, `15. März 2027`, `KW 12/2027`; what may be two days is asked about."""
    spelled = tidy(text)
    bare = BEFORE.sub("", spelled.lower()).strip(" .,;!")
    found = _in_figures(spelled, bare) or _with_month(spelled, bare) or _of_week(spelled, bare) or _ahead(spelled, bare, today)
    return found or asked(f"{spelled} is not understood as a day, such as 2027-03-15")


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year if year > 99 else 2000 + year, month, day)
    except ValueError:
        return None


def _needed(spelled: str, day: date, rule: str = "") -> Reading:
    return Reading({"needed_by": day.isoformat()}, rule=rule)


def _no_day(spelled: str) -> Reading:
    return asked(f"{spelled} is no day of the calendar; which is meant?")


def _year_in_full(spelled: str, written: str, day: date) -> str:
    return "" if len(written) > 2 else f"{spelled} is taken as {day.isoformat()}"


def _in_figures(spelled: str, bare: str) -> Reading | None:
    found = IN_FIGURES.fullmatch(bare)
    if found is not None:
        day = _day(int(found["y"]), int(found["m"]), int(found["d"]))
        return _no_day(spelled) if day is None else _needed(spelled, day)
    found = ENDS_IN_YEAR.fullmatch(bare)
    if found is None:
        return None
    one, other, year = int(found["one"]), int(found["other"]), int(found["y"])
    day_first, month_first = _day(year, other, one), _day(year, one, other)
    if found["sign"] == "." or day_first == month_first:
        month_first = None
    days = [day for day in (day_first, month_first) if day is not None]
    if not days:
        return _no_day(spelled)
    if len(days) == 1:
        return _needed(spelled, days[0], _year_in_full(spelled, found["y"], days[0]))
    return asked(
        f"{spelled} may be two days: which is meant?",
        *((day.isoformat(), f"the {day.day} of {calendar.month_name[day.month]} {day.year}") for day in days),
    )


@cache
def months_by_name() -> dict[str, int]:
    """The number of a month by its names and abbreviations in English, German and French. Source: CLDR, by Babel."""
    names: dict[str, int] = {}
    for language, width, context in product(LANGUAGES, ("wide", "abbreviated"), ("format", "stand-alone")):
        for number, name in Locale(language).months[context][width].items():
            names[name.lower().rstrip(".")] = number
    return names | {"sept": 9, "mrz": 3, "maerz": 3, "fevrier": 2, "aout": 8, "decembre": 12, "fev": 2, "dec": 12}


def _with_month(spelled: str, bare: str) -> Reading | None:
    quarter = QUARTER.fullmatch(bare)
    if quarter is not None:
        return _end_of(spelled, int(quarter["y"]), 3 * int(quarter["quarter"]), "of the quarter")
    for pattern in (DAY_FIRST, MONTH_FIRST, MONTH_ALONE):
        found = pattern.fullmatch(bare)
        month = None if found is None else months_by_name().get(found["month"])
        if found is None or month is None:
            continue
        if pattern is MONTH_ALONE:
            return _part_of_month(spelled, int(found["y"]), month, (found["part"] or "").lower())
        day = _day(int(found["y"]), month, int(found["d"]))
        return _no_day(spelled) if day is None else _needed(spelled, day, _year_in_full(spelled, found["y"], day))
    return None


def _part_of_month(spelled: str, year: int, month: int, part: str) -> Reading:
    if part.startswith(("mid", "mit", "mi")):
        middle = date(year if year > 99 else 2000 + year, month, 15)
        return _needed(spelled, middle, f"{spelled} is taken as {middle.isoformat()}")
    if part.startswith(("beg", "sta", "ear", "anf", "déb")):
        first = date(year if year > 99 else 2000 + year, month, 1)
        return _needed(spelled, first, f"{spelled} is taken as {first.isoformat()}")
    return _end_of(spelled, year, month, "of the month")


def _end_of(spelled: str, year: int, month: int, of: str) -> Reading:
    full = year if year > 99 else 2000 + year
    last = date(full, month, calendar.monthrange(full, month)[1])
    return _needed(spelled, last, f"{spelled} is taken as the last day {of}, {last.isoformat()}")


def _of_week(spelled: str, bare: str) -> Reading | None:
    found = OF_WEEK.fullmatch(bare)
    if found is None:
        return None
    year, week = int(found["y"] or found["y2"]), int(found["week"] or found["week2"])
    try:
        friday = date.fromisocalendar(year if year > 99 else 2000 + year, week, FRIDAY)
    except ValueError:
        return asked(f"{spelled} is no week of the calendar; which is meant?")
    return _needed(spelled, friday, f"{spelled} is taken as the Friday of that week, {friday.isoformat()}")


def _ahead(spelled: str, bare: str, today: date | None) -> Reading | None:
    if SOON.fullmatch(bare):
        return asked(f"{spelled} is no day; by which day is it needed?")
    found = AHEAD.fullmatch(bare)
    if found is None:
        return None
    count, unit = int(found["count"]), found["unit"][:1]
    if today is None:
        return asked(f"{spelled} from which day? By which day is it needed, as 2027-03-15?")
    ahead = count * DAYS_IN[unit] if unit in DAYS_IN else count * 30
    day = today + timedelta(days=ahead)
    return asked(f"{spelled}: counted from today?", (day.isoformat(), f"{count} {found['unit']} from {today.isoformat()}"))
