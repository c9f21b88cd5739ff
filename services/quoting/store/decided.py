"""Quotes that were decided, in PostgreSQL: how each went, and by how much its price was over what it cost.

The markup is noted once of each quote, so that a report of thousands need not read all their documents; no price is noted.
"""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.store.rows import BODY, body_of
from shared_schemas.quote import middle_quantity

AT_ONCE = 50
"""Documents that one transaction reads."""

_DECIDED = """
    select distinct on (q.quote_number) q.number, q.quote_number, q.customer, d.decision, d.reason, d.quantity,
           coalesce((d.at at time zone 'UTC')::date, o.valid_until) as decided_on, o.archived_in is not null as archived, q.status, o.valid_until
    from quoting.quotes q left join quoting.outcomes o on o.number = q.number left join quoting.decisions d on d.number = q.number
    where q.status in ('ready', 'accepted')
    order by q.quote_number, (d.decision is not distinct from 'accepted') desc, q.revision desc
"""
"""The one revision by which a quote is judged: the accepted one, else the latest that is ready or under way."""

_IS_DECIDED = "(l.decision is not null or (l.status = 'ready' and l.valid_until < :today))"
_WITH_MARKUP = f"from ({_DECIDED}) l left join quoting.decided_markups m on m.number = l.number and m.decided_quantity is not distinct from l.quantity"


@dataclass(frozen=True)
class DecidedQuote:
    """How a quote went: `outcome` is accepted, declined or expired. Its markup is price over cost less one; `is_read` says that it will not be known later either."""

    customer: str
    outcome: str
    reason: str | None
    decided_on: date
    markup: float | None = None
    is_read: bool = True


class DecidedStore:
    """Reads decided quotes, and notes their markups."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def bring_up_to_date(self, *, today: date, within_s: float) -> None:
        """Note the markup of decided quotes of which it is not, for as long as that; of some in any case."""
        begin = time.monotonic()
        while True:
            with self._database.transaction() as connection:
                if _note(connection, today) < AT_ONCE or time.monotonic() - begin > within_s:
                    return

    def decided(self, *, today: date, since: date | None, until: date | None) -> list[DecidedQuote]:
        """Every quote that was decided within these days; one that expired was decided by its last day."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(f"select l.customer, coalesce(l.decision, 'expired') as outcome, l.reason, l.decided_on, m.markup, "
                     f"(l.archived or m.number is not null) as is_read {_WITH_MARKUP} "
                     f"where {_IS_DECIDED} and (cast(:since as date) is null or l.decided_on >= :since) "
                     "and (cast(:until as date) is null or l.decided_on <= :until)"),  # nosec B608  texts of this module
                {"today": today, "since": since, "until": until},
            )  # fmt: skip
            return [DecidedQuote(**row._mapping) for row in rows]

    def open(self, *, today: date) -> int:
        """How many quotes are not decided."""
        with self._database.transaction() as connection:
            count = connection.execute(
                text(f"select count(*) from ({_DECIDED}) l where not coalesce({_IS_DECIDED}, false)"),  # nosec B608  texts of this module
                {"today": today},
            )
            return int(count.scalar_one())


def _note(connection: Connection, today: date) -> int:
    """Note the markups of the next few quotes; of how many."""
    rows = connection.execute(
        text(f"select l.number, l.quantity, {BODY} {_WITH_MARKUP} join quoting.outcomes o on o.number = l.number "
             f"where {_IS_DECIDED} and m.number is null and not l.archived order by l.number limit :most"),  # nosec B608  texts of this module
        {"today": today, "most": AT_ONCE},
    ).all()  # fmt: skip
    found = [
        {"number": row.number, "quantity": row.quantity, "markup": markup_of(json.loads(body), row.quantity)}
        for row in rows
        if (body := body_of(row.body, row.packing, row.packed, row.body_bytes)) is not None
    ]
    if found:
        connection.execute(
            text("insert into quoting.decided_markups (number, decided_quantity, markup) values (:number, :quantity, :markup) "
                 "on conflict (number) do update set decided_quantity = excluded.decided_quantity, markup = excluded.markup"),
            found,
        )  # fmt: skip
    return len(rows)


def markup_of(body: dict[str, Any], quantity: int | None) -> float | None:
    """By what share of its cost the price of a quantity is over it: of the one decided on, else of the middle one. None where the cost is not above 0."""
    breaks = {int(one["quantity"]): one for one in body["breaks"]}
    chosen = breaks[quantity if quantity is not None and quantity in breaks else middle_quantity(breaks)]
    cost = Decimal(chosen["unit_cost"]["planned"])
    return round(float(Decimal(chosen["unit_price"]) / cost - 1), 6) if cost > 0 else None
