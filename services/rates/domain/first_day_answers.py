"""What a new shop's tables are, begun from its answers: pure, and nothing is published."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from difflib import get_close_matches
from typing import Any

from services.rates.domain.first_day import QUESTIONS, Question, names_of, slabs
from services.rates.errors import AnswersUnreadable
from shared_schemas.first_day import FirstDayQuestion
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, CalendarRow, CurrencyRow, MarginStep, RateRow, Rates

CROWN = "N-BK7"
CROWN_KG = 5.0
MOST_CLOSED_DAYS = 60
LONGEST_SOURCE = 400
CENT = Decimal("0.01")

PLAIN = re.compile(r"^[0-9]{1,12}([.,][0-9]{1,6})?$", re.ASCII)
THOUSANDS = re.compile(r"^[0-9]{1,3}(,[0-9]{3})+$", re.ASCII)

Tables = dict[str, tuple[Any, ...]]


class _Unreadable(ValueError):
    """An answer that does not read as what was asked for; `remedy` says what would do."""

    def __init__(self, reason: str, remedy: str, limit: Any = None) -> None:
        self.remedy, self.limit = remedy, limit
        super().__init__(reason)


def questions_for(rates: Rates, currency: str | None = None) -> tuple[FirstDayQuestion, ...]:
    """Every question with what these rates say now, its amounts in the currency of the shop; raises `AnswersUnreadable` for an unknown one."""
    code = _read({"currency": currency or rates.base_currency}, rates)["currency"]
    tables: Tables = {table: getattr(rates, table) for table in TABLES}
    _shop_currency(tables, code, date.min)
    usual = Rates(**tables)
    return tuple(
        FirstDayQuestion(
            name=question.name, subject=question.subject, words=question.words, kind=question.kind,
            unit=question.unit.replace("currency", code), least=question.least, most=question.most, usual=_usual(question, usual),
            changes=question.changes,
        )
        for question in QUESTIONS
    )  # fmt: skip


def begun(rates: Rates, answers: Mapping[str, str], *, on: date) -> dict[str, tuple[RateRow, ...]]:
    """The tables that the answers change, whole; raises `AnswersUnreadable` naming every answer that is wrong.

    The currency goes first, so that every other amount is in it.
    """
    values = _read(answers, rates)
    tables: Tables = {table: getattr(rates, table) for table in TABLES}
    for question in QUESTIONS:
        if question.name in values:
            special = SPECIAL.get(question.name)
            if special is not None:
                special(tables, values[question.name], on)
            else:
                _fill(tables, question, values[question.name], on)
    return {table: rows for table, rows in tables.items() if rows != getattr(rates, table)}


def _read(answers: Mapping[str, str], rates: Rates) -> dict[str, Any]:
    known = {question.name: question for question in QUESTIONS}
    values: dict[str, Any] = {}
    faults = []
    for name, answer in answers.items():
        if name not in known:
            near = get_close_matches(name, names_of(QUESTIONS), 1)
            remedy = f"{near[0]}?" if near else "see the questions"
            faults.append(ProblemDetail(pointer=f"/answers/{name}", reason="nobody asks that", figure=name, remedy=remedy))
            continue
        try:
            values[name] = READ[known[name].kind](known[name], answer.strip(), rates)
        except _Unreadable as fault:
            faults.append(ProblemDetail(pointer=f"/answers/{name}", reason=str(fault), figure=answer, limit=fault.limit,
                                        remedy=fault.remedy))  # fmt: skip
    single, hundred = (
        values.get(name, _margin_at(rates, pieces)) for name, pieces in (("margin_single", 1), ("margin_hundred", 100))
    )
    if hundred > single and not faults:
        faults.append(ProblemDetail(pointer="/answers/margin_hundred", reason="more pieces would cost more each",
                                    figure=round(100 * hundred, 2), limit=round(100 * single, 2),
                                    remedy="a margin not above that of a single piece"))  # fmt: skip
    if faults:
        raise AnswersUnreadable(faults)
    return values


def _bounded(question: Question, value: float) -> None:
    least, most = question.least, question.most
    if (least is not None and value < least) or (most is not None and value > most):
        raise _Unreadable("it is out of range", "a figure within the range", f"{least:g} to {most:g} {question.unit}".strip())


def _amount(question: Question, answer: str, rates: Rates) -> Decimal:
    if THOUSANDS.match(answer):
        raise _Unreadable("its comma may be decimal, or part thousands", "write it without the comma, or with a decimal point")
    if not PLAIN.match(answer):
        raise _Unreadable("it is not a number", "digits and a decimal point, such as 44.50")
    value = Decimal(answer.replace(",", "."))
    _bounded(question, float(value))
    return value


def _money(question: Question, answer: str, rates: Rates) -> Decimal:
    return _amount(question, answer, rates).quantize(CENT)


def _number(question: Question, answer: str, rates: Rates) -> float:
    return float(_amount(question, answer, rates))


def _count(question: Question, answer: str, rates: Rates) -> int:
    value = _amount(question, answer, rates)
    if value != value.to_integral_value():
        raise _Unreadable("it is not whole", "a whole number")
    return int(value)


def _percent(question: Question, answer: str, rates: Rates) -> float:
    return float(_amount(question, answer.removesuffix("%").strip(), rates) / 100)


def _yes_no(question: Question, answer: str, rates: Rates) -> bool:
    if answer.lower() not in ("yes", "y", "no", "n"):
        raise _Unreadable("it is neither yes nor no", "yes or no")
    return answer.lower().startswith("y")


def _currency(question: Question, answer: str, rates: Rates) -> str:
    known = sorted(row.name for row in rates.currencies)
    if answer.upper() not in known:
        raise _Unreadable("the table currencies has no such row", "add it to currencies first, or take another", ", ".join(known))
    return answer.upper()


def _days(question: Question, answer: str, rates: Rates) -> tuple[tuple[date, date | None], ...]:
    spans = []
    for part in answer.split(","):
        first, _, last = (end.strip() for end in part.partition(".."))
        try:
            span = date.fromisoformat(first), date.fromisoformat(last) if last else None
        except ValueError:
            raise _Unreadable(f"{part.strip()[:30]} is no day", "days as 2026-12-24, 2026-12-28..2027-01-02") from None
        if span[1] is not None and not timedelta(0) <= span[1] - span[0] <= timedelta(days=365):
            raise _Unreadable(
                f"{part.strip()[:30]} does not end after it begins, within a year", "the first day, two points, the last"
            )
        spans.append(span)
    if len(spans) > MOST_CLOSED_DAYS:
        raise _Unreadable("these are too many", "spans of days, such as 2026-12-28..2027-01-02", MOST_CLOSED_DAYS)
    return tuple(dict(spans).items())


READ: dict[str, Callable[[Question, str, Rates], Any]] = {
    "money": _money,
    "number": _number,
    "count": _count,
    "percent": _percent,
    "yes_no": _yes_no,
    "currency": _currency,
    "days": _days,
}


def _answered(row: RateRow, column: str, value: Any, *, whole: bool, on: date) -> RateRow:
    """The row with one figure answered, which its source then says; `whole` where it is all that the row says."""
    if whole:
        return row.model_copy(
            update={column: value, "origin": "estimated", "as_of": on, "source": "answered on the shop's first day"}
        )
    source = f"{row.source}; {column} answered on {on.isoformat()}"
    return row.model_copy(update={column: value, "source": source if len(source) <= LONGEST_SOURCE else row.source})


def _fill(tables: Tables, question: Question, value: Any, on: date) -> None:
    for cells in question.cells:
        tables[cells.table] = tuple(
            _answered(row, cells.column, value, whole=cells.whole, on=on) if cells.chosen(row) else row
            for row in tables[cells.table]
        )


def _shop_currency(tables: Tables, code: str, on: date) -> None:
    """Every amount in another currency, at the rate that the table has for it."""
    currencies: Sequence[CurrencyRow] = tables["currencies"]
    factor = next(row.per_base for row in currencies if row.name == code)
    if factor == 1:
        return
    for table, rows in tables.items():
        if table != "currencies":
            tables[table] = tuple(_in_currency(row, factor) for row in rows)
    minor_units = next(row.minor_units for row in currencies if row.name == code)
    tables["commercial"] = tuple(
        row.model_copy(update={"rounding": round_step(row.rounding, minor_units=minor_units)}) for row in tables["commercial"]
    )
    rates = {
        row.name: Decimal(1) if row.name == code else (row.per_base / factor).quantize(Decimal("0.000001")) for row in currencies
    }
    tables["currencies"] = tuple(row.model_copy(update={"per_base": rates[row.name]}) for row in currencies)


def round_step(step: Decimal, *, minor_units: int) -> Decimal:
    """The nearest step that a shop rounds its prices to: 1, 2 or 5 times a power of ten, and no less than the minor unit."""
    steps = (factor * Decimal(10) ** power for power in range(-minor_units, 7) for factor in (1, 2, 5))
    return min(steps, key=lambda one: (max(one / step, step / one), one))


def _in_currency(row: RateRow, factor: Decimal) -> RateRow:
    figures = row.model_dump(by_alias=True)
    exchanged = _exchanged(figures, factor)
    return row if exchanged == figures else type(row).model_validate(exchanged)


def _exchanged(value: Any, factor: Decimal) -> Any:
    """A value with every amount in it times a factor: what is a `Decimal` in a rate row is money, to the cent."""
    if isinstance(value, Decimal):
        return max((value * factor).quantize(CENT), min(value, CENT))
    if isinstance(value, dict):
        return {key: _exchanged(one, factor) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return tuple(_exchanged(one, factor) for one in value)
    return value


def _closed_days(tables: Tables, spans: Sequence[tuple[date, date | None]], on: date) -> None:
    """The calendar with these holidays and no others."""
    weekdays = tuple(row for row in tables["calendar"] if row.weekday is not None)
    holidays = tuple(
        CalendarRow(name=f"closed {first.isoformat()}", source="answered on the shop's first day", as_of=on, origin="estimated",
                    holiday=first, until=last)
        for first, last in spans
    )  # fmt: skip
    tables["calendar"] = weekdays + holidays


def _without(method: str) -> Callable[[Tables, bool, date], None]:
    """Take the work centres of a method out of the shop, with their load, where it has none."""

    def change(tables: Tables, is_there: bool, on: date) -> None:
        if is_there:
            return
        gone = {row.name for row in tables["work_centres"] if row.method == method}
        for table in ("work_centres", "shop_load"):
            tables[table] = tuple(row for row in tables[table] if row.name not in gone)

    return change


def _price_of_crown(rates: Rates) -> Decimal:
    """What a kilogram of N-BK7 costs in slabs, the dearest form of them."""
    prices = [
        max((step for step in row.prices if step.from_kg <= CROWN_KG), key=lambda step: step.from_kg).price_per_kg
        for row in rates.stock_forms if row.glass == CROWN and slabs(row)
    ]  # fmt: skip
    if not prices:
        raise AnswersUnreadable([ProblemDetail(pointer="/answers/crown_price", reason=f"the rates have no slab of {CROWN}",
                                               remedy="add its stock first, or leave the question out")])  # fmt: skip
    return max(prices)


def _crown_price(tables: Tables, price: Decimal, on: date) -> None:
    """Every price of glass in proportion to that of the crown."""
    factor = price / _price_of_crown(Rates(**tables))
    tables["stock_forms"] = tuple(
        _answered(row, "prices", tuple(
            step.model_copy(update={"price_per_kg": max(CENT, (step.price_per_kg * factor).quantize(CENT))}) for step in row.prices
        ), whole=False, on=on)
        for row in tables["stock_forms"]
    )  # fmt: skip


def _glass_days(tables: Tables, days: float, on: date) -> None:
    """Slabs come after so many days, and by express no later."""
    tables["stock_forms"] = tuple(
        _answered(row, "lead_days", days, whole=False, on=on).model_copy(
            update={} if row.express_lead_days is None else {"express_lead_days": min(row.express_lead_days, days)}
        ) if slabs(row) else row
        for row in tables["stock_forms"]
    )  # fmt: skip


def _margin_at(rates: Rates, pieces: int) -> float:
    return rates.commercial[0].margin_at(pieces)


def _margins(first: bool) -> Callable[[Tables, float, date], None]:
    """The margin of a single piece, or that of a hundred, for every class of customer."""

    def change(tables: Tables, margin: float, on: date) -> None:
        rows = []
        for row in tables["commercial"]:
            single, hundred = (margin, row.margin_at(100)) if first else (row.margin_at(1), margin)
            steps = (
                MarginStep(from_quantity=1, margin_share=single),
                MarginStep(from_quantity=100, margin_share=min(single, hundred)),
            )
            rows.append(_answered(row.model_copy(update={"margin_share": single}), "margin_steps", steps, whole=False, on=on))
        tables["commercial"] = tuple(rows)

    return change


SPECIAL: dict[str, Callable[[Tables, Any, date], None]] = {
    "currency": _shop_currency,
    "closed_days": _closed_days,
    "volume_line": _without("volume"),
    "automatic_centring": _without("automatic"),
    "crown_price": _crown_price,
    "glass_days": _glass_days,
    "margin_single": _margins(first=True),
    "margin_hundred": _margins(first=False),
}
"""What the questions do whose answer is more than a figure put into cells."""


def _usual(question: Question, rates: Rates) -> str:
    """What these rates say, as a person writes it."""
    if question.kind == "currency":
        return rates.base_currency
    if question.kind == "days":
        spans = ((row.holiday, row.until) for row in rates.calendar if row.holiday is not None)
        written = sorted(first.isoformat() + (f"..{last.isoformat()}" if last else "") for first, last in spans)
        return ", ".join(written)
    if question.kind == "yes_no":
        method = {"volume_line": "volume", "automatic_centring": "automatic"}[question.name]
        return "yes" if any(row.method == method for row in rates.work_centres) else "no"
    if question.name in ("margin_single", "margin_hundred"):
        return f"{100 * _margin_at(rates, 1 if question.name == 'margin_single' else 100):g}"
    if question.name == "crown_price":
        return str(_price_of_crown(rates))
    value = question.usual(rates)
    return f"{100 * value:g}" if question.kind == "percent" else f"{value:g}" if isinstance(value, float) else str(value)
