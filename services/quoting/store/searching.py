"""The list of quotes, and what it is searched by: each quote once, by the revision by which it stands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Literal

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.store.rows import NO_BODY, SELECT, StoredQuote, stored
from services.quoting.store.searched import LONGEST_ENDING, SHORTEST_ENDING, bring_up_to_date, folded
from shared_schemas.published_glasses import plain

NOTES_WITHIN_S = 2.0
"""So long one search notes what quotes are searched by, where that is not noted yet."""

STANDS = (
    "not exists (select 1 from quoting.quotes n left join quoting.decisions e on e.number = n.number and e.decision = 'accepted' "
    "where n.quote_number = q.quote_number and n.number <> q.number and (e.number is not null, n.status <> 'cancelled', n.revision) "
    "> (d.decision is not distinct from 'accepted', q.status <> 'cancelled', q.revision))"
)
"""Whether a quote stands by this revision: the last that was accepted, else the last that was not cancelled."""

STATES = {
    "open": f"q.status = 'ready' and d.number is null and coalesce(o.valid_until >= :today, true) and {STANDS}",
    "expired": f"q.status = 'ready' and d.number is null and o.valid_until < :today and {STANDS}",
    "accepted": f"d.decision = 'accepted' and {STANDS}",
    "declined": f"d.decision = 'declined' and {STANDS}",
}
"""Which quotes are in a state on the day `today`, by the revision by which they stand."""

OPEN = STATES["open"]
SENT_LAST = "(select max(s.sent_at) from quoting.offers s where s.quote_number = q.quote_number and s.revision = q.revision)"
FOLLOW_UP = {
    "expiring": f"{OPEN} and o.valid_until <= cast(:today as date) + cast(:within_days as int)",
    "waiting": f"{OPEN} and coalesce({SENT_LAST}, o.finished_at) <= :waits_since",
}

CONDITIONS = {
    "status": "q.status = :status",
    "created_from": "q.created_at >= (cast(:created_from as date)::timestamp at time zone 'UTC')",
    "created_to": "q.created_at < ((cast(:created_to as date) + 1)::timestamp at time zone 'UTC')",
    "valid_from": "o.valid_until >= :valid_from",
    "valid_to": "o.valid_until <= :valid_to",
    "element": "s.elements @> array[cast(:element as text)]",
    "glass": "s.glasses @> array[cast(:glass as text)]",
    "by": "q.caller in (select cast(:by as text) union all select k.id from chassis.api_keys k where lower(k.label) = lower(:by))",
}
"""What each plain filter asks of a quote."""


@dataclass(frozen=True)
class Search:
    """What quotes are looked for; what is `None` is not asked. Words may stand in any order, each has to be there."""

    today: date
    now: datetime
    status: str | None = None
    state: str | None = None
    text: str | None = None
    customer: str | None = None
    reference: str | None = None
    created_from: date | None = None
    created_to: date | None = None
    valid_from: date | None = None
    valid_to: date | None = None
    currency: str | None = None
    price_from: Decimal | None = None
    price_to: Decimal | None = None
    element: str | None = None
    glass: str | None = None
    by: str | None = None
    follow_up: Literal["expiring", "waiting"] | None = None
    within_days: int = 7


@dataclass(frozen=True)
class ListedPrice:
    """What a quantity costs."""

    quantity: int
    unit_price: Decimal
    total_price: Decimal


@dataclass(frozen=True)
class ListedQuote:
    """A quote as it is listed: the revision by which it stands, the name of the key that asked for it, and its prices."""

    row: StoredQuote
    asked_by: str
    currency: str | None
    prices: tuple[ListedPrice, ...]


class QuoteList:
    """Quotes as they are listed and searched."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def page(self, search: Search, *, before: tuple[int, int] | None, most: int) -> tuple[list[ListedQuote], int]:
        """Quotes newest first from below a position and revision; and how many cannot be searched yet."""
        left = bring_up_to_date(self._database, within_s=NOTES_WITHIN_S)
        conditions, values = _asked(search)
        if before is not None:
            conditions.append("(q.position, q.revision) < (:position, :revision)")
            values |= {"position": before[0], "revision": before[1]}
        with self._database.transaction() as connection:
            numbers = connection.execute(
                text("select q.number from quoting.quotes q left join quoting.outcomes o on o.number = q.number "
                     "left join quoting.decisions d on d.number = q.number left join quoting.searched s on s.number = q.number "
                     f"where {' and '.join(conditions)} order by q.position desc, q.revision desc limit :most"),  # nosec B608  texts of this module
                values | {"most": most},
            ).scalars().all()  # fmt: skip
            return _listed(connection, numbers), left


def _listed(connection: Connection, numbers: Sequence[str]) -> list[ListedQuote]:
    """The quotes in some rows, in that order."""
    asked = {"numbers": list(numbers)}
    rows = connection.execute(text(SELECT.format(body=NO_BODY) + " where q.number = any(:numbers)"), asked)
    quotes = {row.number: stored(row) for row in rows}
    names = connection.execute(
        text("select q.number, k.label from quoting.quotes q join chassis.api_keys k on k.id = q.caller where q.number = any(:numbers)"), asked
    )  # fmt: skip
    labels = {row.number: str(row.label) for row in names}
    prices: dict[str, list[ListedPrice]] = {number: [] for number in numbers}
    currencies: dict[str, str] = {}
    for row in connection.execute(
        text("select number, currency, quantity, unit_price, total_price from quoting.searched_prices where number = any(:numbers) "
             "order by number, quantity"), asked,
    ):  # fmt: skip
        currencies[row.number] = row.currency
        prices[row.number].append(ListedPrice(row.quantity, row.unit_price, row.total_price))
    return [
        ListedQuote(quotes[number], labels.get(number, ""), currencies.get(number), tuple(prices[number])) for number in numbers
    ]


def _asked(search: Search) -> tuple[list[str], dict[str, Any]]:
    """The conditions of a search, and the values that they name."""
    conditions = [STATES[search.state] if search.state else STANDS]
    values: dict[str, Any] = {"today": search.today, **{name: getattr(search, name) for name in CONDITIONS}}
    values["element"] = search.element and folded(search.element)
    values["glass"] = search.glass and plain(search.glass)
    conditions += [condition for name, condition in CONDITIONS.items() if values[name] is not None]
    conditions += _of_words(search, values)
    conditions += _of_price(search, values)
    if search.follow_up is not None:
        conditions.append(FOLLOW_UP[search.follow_up])
        values |= {"within_days": search.within_days, "waits_since": search.now - timedelta(days=search.within_days)}
    return conditions, values


def _of_words(search: Search, values: dict[str, Any]) -> Iterator[str]:
    """Each word is looked up in the index first, and then looked for where it should stand."""
    endings = []
    for column, said in (("everything", search.text), ("customer", search.customer), ("reference", search.reference)):
        for place, word in enumerate(folded(said or "").split()):
            name = f"{column}_{place}"
            values[name] = word
            endings += [_quoted(word[:LONGEST_ENDING])] if len(word) >= SHORTEST_ENDING else []
            yield f"strpos(s.{column}, :{name}) > 0"
    if endings:
        values["endings"] = " & ".join(endings)
        yield "s.words @@ cast(:endings as tsquery)"


def _quoted(word: str) -> str:
    """A word as the beginning of an entry of the index, whatever signs it has."""
    escaped = word.replace("\\", "\\\\").replace("'", "''")
    return f"'{escaped}':*"


def _of_price(search: Search, values: dict[str, Any]) -> Iterator[str]:
    """Some quantity has a total price between two amounts."""
    if search.currency is None:
        return
    values |= {"currency": search.currency, "price_from": search.price_from, "price_to": search.price_to}
    bounds = [
        f" and p.total_price {sign} :{name}"
        for sign, name in ((">=", "price_from"), ("<=", "price_to"))
        if values[name] is not None
    ]
    yield f"exists (select 1 from quoting.searched_prices p where p.number = q.number and p.currency = :currency{''.join(bounds)})"  # nosec B608  texts of this function
