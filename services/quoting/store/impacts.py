"""What proposed rate tables would do to open quotes, in PostgreSQL: asked for together, let into the queues a few at a time.

A quote of an impact whose turn has not come has no `next_check_at`. Quotes themselves are read here and never written.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.errors import ImpactsFull, ImpactUnknown
from services.quoting.store.repository import LATEST, LONGEST_WAIT_S, next_look_s
from services.quoting.store.rows import SELECT, DeadLetter, IdempotencyKey, Outcome, Start, StoredQuote, stored
from services.quoting.store.writing import as_start, kept_once, use_key, used_for
from shared_schemas.rate_impact import RateProposal

NUMBER = re.compile(r"I-\d{4}-\d{6,12}", re.ASCII)
"""What an impact is called: year and position."""

ENTRY = re.compile(NUMBER.pattern + r"\.\d{1,3}", re.ASCII)
"""What the traveller of one of its quotes is called: the number, and the quote's place from 1."""

_START = """
    select e.number, e.attempt, q.request, i.proposal as rate_revision, q.quoted_on, i.trace, q.quote_number, q.revision
    from quoting.impacted_quotes e join quoting.impacts i on i.number = e.impact join quoting.quotes q on q.number = e.quote
"""


@dataclass(frozen=True)
class StoredImpact:
    """An impact, and how many of its quotes have which status in the table."""

    number: str
    table_name: str
    proposal: int
    proposal_digest: str
    base_revision: int
    size: int
    created_at: datetime
    asked_by: str
    counts: dict[str, int]

    @property
    def in_work(self) -> int:
        """Quotes without an outcome."""
        return self.counts.get("accepted", 0)


@dataclass(frozen=True)
class StoredImpactedQuote:
    """One quote of an impact, with what became of it. `rate_revision` is the one it was issued at."""

    place: int
    quote_number: str
    revision: int
    customer: str
    title: str
    rate_revision: int
    status: str
    figures: bytes | None
    problem: bytes | None


class ImpactStore:
    """Impacts of proposed tables."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def named(self, numbers: Sequence[str]) -> dict[str, StoredQuote]:
        """Those of the quotes that there are, by number, each in its latest revision and without its body."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(SELECT.format(body="null::bytea") + f" where q.quote_number = any(:numbers) and {LATEST}"),
                {"numbers": list(numbers)},
            )
            return {row.quote_number: stored(row) for row in rows}

    def accept(
        self, proposal: RateProposal, quotes: Sequence[str], key: IdempotencyKey | None, *, now: datetime, asked_by: str, trace: str,
        kept_days: int, most_unfinished: int,
    ) -> tuple[str, bool]:  # fmt: skip
        """Store a proposal with the rows of quotes that are held against it; its impact's number, and whether it is a new one.

        Impacts older than `kept_days` are forgotten. A key used before gives the impact it was used for. Raises
        `ImpactsFull` when `most_unfinished` quotes of other impacts have no outcome yet, `IdempotencyKeyReused`.
        """

        def insert(connection: Connection) -> str:
            connection.execute(
                text("delete from quoting.impacts where created_at < :before"), {"before": now - timedelta(days=kept_days)}
            )
            _refuse_when_full(connection, most_unfinished)
            number = _insert(connection, proposal, quotes, now=now, asked_by=asked_by, trace=trace)
            use_key(connection, key, now=now, impact=number)
            return number

        return kept_once(self._database, key, insert)

    def under(self, key: IdempotencyKey | None) -> str | None:
        """The impact that a key was used for, `None` for a new key; raises `IdempotencyKeyReused` if it had another body."""
        if key is None:
            return None
        with self._database.transaction() as connection:
            return used_for(connection, key)

    def let_in(self, *, most_in_flight: int, now: datetime, first_check_s: float) -> list[Start]:
        """Quotes of impacts whose turn has come, oldest first: as many as keeps those under way at `most_in_flight`."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select e.number from quoting.impacted_quotes e join quoting.impacts i on i.number = e.impact
                    where e.status = 'accepted' and e.next_check_at is null
                    order by i.position, e.place
                    limit greatest(0, :most - (
                        select count(*) from quoting.impacted_quotes where status = 'accepted' and next_check_at is not null
                    ))
                    for update of e skip locked
                """),
                {"most": most_in_flight},
            ).scalars()
            numbers = list(rows)
            connection.execute(
                text("update quoting.impacted_quotes set next_check_at = :check where number = any(:numbers)"),
                {"check": now + timedelta(seconds=first_check_s), "numbers": numbers},
            )
            return [_start_of(connection, number) for number in numbers]

    def overdue(self, *, now: datetime, most_attempts: int, most: int = 50) -> tuple[list[Start], list[Start]]:
        """Quotes to start again, each with its next attempt, and the last starts of those that have used up their attempts.

        As with quotes: rows that another sweeper holds are passed over, and looks are ever further apart.
        """
        starts: list[Start] = []
        exhausted: list[Start] = []
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select number, attempt from quoting.impacted_quotes
                    where status = 'accepted' and (next_check_at <= :now or next_check_at > :never)
                    order by next_check_at limit :most for update skip locked
                """),
                {"now": now, "never": now + timedelta(seconds=2 * LONGEST_WAIT_S), "most": most},
            ).all()
            for row in rows:
                if row.attempt >= most_attempts:
                    exhausted.append(_start_of(connection, row.number))
                    continue
                connection.execute(
                    text("update quoting.impacted_quotes set attempt = :attempt, next_check_at = :check where number = :number"),
                    {
                        "number": row.number,
                        "attempt": row.attempt + 1,
                        "check": now + timedelta(seconds=next_look_s(row.attempt + 1)),
                    },
                )
                starts.append(_start_of(connection, row.number))
        return starts, exhausted

    def look_later(self, number: str, *, now: datetime) -> None:
        """Put off the next look at a quote of an impact for as long as looks are ever apart; no attempt is used up."""
        with self._database.transaction() as connection:
            connection.execute(
                text("update quoting.impacted_quotes set next_check_at = :check where number = :number and status = 'accepted'"),
                {"number": number, "check": now + timedelta(seconds=LONGEST_WAIT_S)},
            )

    def issued(self, number: str) -> bytes | None:
        """The body of the quote that the traveller `number` is held against, `None` when its impact is forgotten."""
        with self._database.transaction() as connection:
            body = connection.execute(
                text(
                    "select o.body from quoting.impacted_quotes e join quoting.outcomes o on o.number = e.quote where e.number = :n"
                ),
                {"n": number},
            ).scalar_one_or_none()
            return None if body is None else bytes(body)

    def settle(self, number: str, attempt: int, outcome: Outcome, *, now: datetime, letter: DeadLetter | None = None) -> bool:
        """Record what became of a quote of an impact, once: whether this was the outcome that stands.

        The `body` of a ready outcome is its figures. Of a letter the traceback is kept; there is nothing to replay, as the
        same proposal can be made again.
        """
        with self._database.transaction() as connection:
            done = connection.execute(
                text("update quoting.impacted_quotes set status = :status, digest = :digest, figures = :body, problem = :problem, "
                     "traceback = :traceback, finished_at = :now, next_check_at = null "
                     "where number = :number and status = 'accepted'"),
                {"number": number, "status": outcome.status, "digest": outcome.digest, "body": outcome.body,
                 "problem": outcome.problem, "traceback": letter.traceback if letter else None, "now": now},
            )  # fmt: skip
            return done.rowcount == 1

    def impact(self, number: str) -> StoredImpact:
        """An impact and how far it is; raises `ImpactUnknown`, also for what is no number of ours."""
        if not NUMBER.fullmatch(number):
            raise ImpactUnknown(number)
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select number, table_name, proposal, proposal_digest, base_revision, size, created_at, asked_by "
                     "from quoting.impacts where number = :n"), {"n": number},
            ).one_or_none()  # fmt: skip
            if row is None:
                raise ImpactUnknown(number)
            counts = connection.execute(
                text("select status, count(*) as quotes from quoting.impacted_quotes where impact = :n group by status"),
                {"n": number},
            )
            return StoredImpact(**row._mapping, counts={one.status: one.quotes for one in counts})

    def is_finished(self, number: str) -> bool:
        """Whether every quote of an impact has its outcome."""
        with self._database.transaction() as connection:
            return not connection.execute(
                text("select exists (select 1 from quoting.impacted_quotes where impact = :n and status = 'accepted')"),
                {"n": number},
            ).scalar()

    def quotes(self, number: str) -> list[StoredImpactedQuote]:
        """Every quote of an impact, in the order of their places."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select e.place, q.quote_number, q.revision, q.customer, q.title, q.rate_revision, e.status, e.figures, e.problem
                    from quoting.impacted_quotes e join quoting.quotes q on q.number = e.quote
                    where e.impact = :n order by e.place
                """),
                {"n": number},
            )
            return [_impacted(row) for row in rows]


def _refuse_when_full(connection: Connection, most_unfinished: int) -> None:
    counted = text("select count(*) from quoting.impacted_quotes where status = 'accepted'")
    if int(connection.execute(counted).scalar_one()) >= most_unfinished:
        raise ImpactsFull(most_unfinished)


def _insert(
    connection: Connection, proposal: RateProposal, quotes: Sequence[str], *, now: datetime, asked_by: str, trace: str
) -> str:
    position = connection.execute(text("select nextval('quoting.impact_numbers')")).scalar_one()
    number = f"I-{now.year}-{position:06d}"
    connection.execute(
        text("insert into quoting.impacts (number, position, table_name, proposal, proposal_digest, base_revision, size, created_at, "
             "asked_by, trace) values (:number, :position, :table, :proposal, :digest, :base, :size, :now, :asked_by, :trace)"),
        {"number": number, "position": position, "table": proposal.table, "proposal": proposal.number, "digest": proposal.digest,
         "base": proposal.base_revision, "size": len(quotes), "now": now, "asked_by": asked_by, "trace": trace},
    )  # fmt: skip
    if quotes:
        connection.execute(
            text("insert into quoting.impacted_quotes (number, impact, place, quote) values (:number, :impact, :place, :quote)"),
            [
                {"number": f"{number}.{place + 1}", "impact": number, "place": place, "quote": quote}
                for place, quote in enumerate(quotes)
            ],
        )
    return number


def _start_of(connection: Connection, number: str) -> Start:
    return as_start(connection.execute(text(_START + " where e.number = :number"), {"number": number}).one())


def _impacted(row: Any) -> StoredImpactedQuote:
    values = dict(row._mapping)
    for name in ("figures", "problem"):
        values[name] = bytes(values[name]) if values[name] is not None else None
    return StoredImpactedQuote(**values)
