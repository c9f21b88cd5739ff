"""How ready the rates are: what the open book, or some quotes of it, rest on, held against the newest rates."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal

from services.chassis.resources import Resources
from services.quoting.errors import RequestUnanswerable
from services.quoting.store.resting import RestingQuote, RestingStore
from shared_schemas.problem import ProblemDetail
from shared_schemas.rate_readiness import (
    MOST_ROWS_TOLD,
    MoneyOfOrigin,
    MoneyOfTable,
    RateReadiness,
    RowsUnused,
    RowToMakeReady,
)
from shared_schemas.rate_row import ORIGINS, Origin, RateRow
from shared_schemas.rates import TABLES, RateRevision
from shared_schemas.review_ages import is_stale, review_days_of

RowName = tuple[str, str]

WHAT_TO_DO: Mapping[Origin, str] = {
    "invented": "put the shop's own figure in its place, and say how it was come by",
    "supplier": "ask the supplier for a new quotation, and give its number and date",
    "published": "look whether a newer edition says otherwise, and give the day of it",
    "measured": "measure again, or confirm it with what was booked, and give the day of it",
    "estimated": "estimate it again, or measure it, and give the day of it",
}


def readiness(numbers: Sequence[str], *, now: datetime, resources: Resources) -> RateReadiness:
    """The readiness by the open quotes, or by the ready ones that are named; raises `RequestUnanswerable` for a number of none."""
    store = RestingStore(resources.database)
    found = store.of_quotes(numbers) if numbers else store.of_open_book(today=now.date())
    missing = sorted(set(numbers) - {one.quote_number for one in found})
    if missing:
        fault = ProblemDetail(
            pointer="/quote", reason="there is no such ready quote", figure=missing[0], limit="ready quotes", remedy="leave it out"
        )
        raise RequestUnanswerable([fault])
    return ready_by(found, resources.rates.latest(), now=now, own=resources.settings.review_days)


def ready_by(quotes: Sequence[RestingQuote], revision: RateRevision, *, now: datetime, own: Mapping[str, int]) -> RateReadiness:
    """What quotes rest on, by the rows of a revision as they are today. A quote in another base currency than today's is counted as untold."""
    rates = revision.rates
    told = [one for one in quotes if one.currency == rates.base_currency]
    money: dict[RowName, Decimal] = defaultdict(Decimal)
    for quote in told:
        for name, amount in quote.amounts.items():
            money[name] += amount
    total = sum((quote.total for quote in told), Decimal(0))
    rows = {name: rates.row(*name) for name in money}
    today = now.date()
    stale = {name for name, row in rows.items() if row is not None and is_stale(row, name[0], on=today, own=own)}
    to_do = sorted((name for name, row in rows.items() if row is not None and (row.origin == "invented" or name in stale)), key=lambda name: (-money[name], name))  # fmt: skip
    return RateReadiness(
        rate_revision=revision.number,
        at=now,
        currency=rates.base_currency,
        quotes=len(told),
        quotes_untold=len(quotes) - len(told),
        total=total,
        by_origin=tuple(_by_origin(money, rows, total)),
        stale=_sum(money, stale),
        stale_share=_share(_sum(money, stale), total),
        by_table=tuple(_by_table(money, rows, stale, total, own)),
        rows_to_make_ready=len(to_do),
        rows=tuple(_to_do(name, rows[name], money[name], total, today, own) for name in to_do[:MOST_ROWS_TOLD]),
        unused=tuple(_unused(revision, set(money), today, own)),
    )


def _by_origin(money: Mapping[RowName, Decimal], rows: Mapping[RowName, RateRow | None], total: Decimal) -> Iterator[MoneyOfOrigin]:
    for origin in (*ORIGINS, None):
        names = [name for name, row in rows.items() if (None if row is None else row.origin) == origin]
        if names or origin == "invented":
            yield MoneyOfOrigin(origin=origin, rows=len(names), money=_sum(money, names), share=_share(_sum(money, names), total))


def _by_table(
    money: Mapping[RowName, Decimal], rows: Mapping[RowName, RateRow | None], stale: set[RowName], total: Decimal, own: Mapping[str, int]
) -> Iterator[MoneyOfTable]:  # fmt: skip
    tables: dict[str, list[RowName]] = defaultdict(list)
    for name in money:
        tables[name[0]].append(name)
    for table, names in sorted(tables.items(), key=lambda one: (-_sum(money, one[1]), one[0])):
        invented = [name for name in names if (row := rows[name]) is not None and row.origin == "invented"]
        yield MoneyOfTable(
            table=table,
            review_days=review_days_of(table, own),
            rows=len(names),
            money=_sum(money, names),
            share=_share(_sum(money, names), total),
            invented=_sum(money, invented),
            stale=_sum(money, stale.intersection(names)),
        )


def _to_do(
    name: RowName, row: RateRow | None, money: Decimal, total: Decimal, today: date, own: Mapping[str, int]
) -> RowToMakeReady:
    assert row is not None
    return RowToMakeReady(
        table=name[0],
        row=name[1],
        origin=row.origin,
        document=row.document,
        as_of=row.as_of,
        age_days=(today - row.as_of).days,
        stale=is_stale(row, name[0], on=today, own=own),
        money=money,
        share=_share(money, total),
        what_to_do=WHAT_TO_DO[row.origin],
    )


def _unused(revision: RateRevision, used: set[RowName], today: date, own: Mapping[str, int]) -> Iterator[RowsUnused]:
    for table in TABLES:
        rows: list[RateRow] = [row for row in getattr(revision.rates, table) if (table, row.name) not in used]
        invented = sum(row.origin == "invented" for row in rows)
        stale = sum(is_stale(row, table, on=today, own=own) for row in rows)
        if invented or stale:
            yield RowsUnused(table=table, invented=invented, stale=stale)


def _sum(money: Mapping[RowName, Decimal], names: Iterable[RowName]) -> Decimal:
    return sum((money[name] for name in names), Decimal(0))


def _share(part: Decimal, total: Decimal) -> float:
    return round(float(part / total), 6) if total else 0.0
