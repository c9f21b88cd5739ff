"""What proposed rate tables would do to open quotes, in PostgreSQL: asked for together, admitted to the queues a few at a time.

Quotes themselves are read here and never written.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.errors import ImpactUnknown
from services.quoting.store.bounds import Bounds, refuse_when_full
from services.quoting.store.repository import LATEST
from services.quoting.store.rows import BODY, NO_BODY, SELECT, IdempotencyKey, StoredQuote, body_of, stored
from services.quoting.store.runs import Runs, RunTable, Settlement, accept_once, by_number, use_key
from shared_schemas.rate_impact import RateProposal

NUMBER = re.compile(r"I-\d{4}-\d{6,12}", re.ASCII)
"""What an impact is called: year and position."""

ENTRY = re.compile(NUMBER.pattern + r"\.\d{1,3}", re.ASCII)
"""What the traveller of one of its quotes is called: the number, and the quote's place from 1."""


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


def _settle(connection: Connection, settled: Settlement) -> bool:
    """Record what became of a quote of an impact, once.

    The `body` of a ready outcome is its figures. Of a letter the traceback is kept; there is nothing to replay, as the
    same proposal can be made again.
    """
    outcome, letter = settled.outcome, settled.letter
    done = connection.execute(
        text("update quoting.impacted_quotes set status = :status, digest = :digest, figures = :body, problem = :problem, "
             "traceback = :traceback, finished_at = :now, next_check_at = null "
             "where number = :number and status = 'accepted'"),
        {"number": settled.number, "status": outcome.status, "digest": outcome.digest, "body": outcome.body,
         "problem": outcome.problem, "traceback": letter.traceback if letter else None, "now": settled.now},
    )  # fmt: skip
    return done.rowcount == 1


IMPACT_RUNS = RunTable(
    numbers=ENTRY,
    table="quoting.impacted_quotes",
    start="select r.number, r.attempt, q.request, i.proposal as rate_revision, q.quoted_on, i.trace, q.quote_number, q.revision, q.load_snapshot, q.large "
    "from quoting.impacted_quotes r join quoting.impacts i on i.number = r.impact join quoting.quotes q on q.number = r.quote",
    group="impact",
    large="(select q.large from quoting.quotes q where q.number = r.quote)",
    first_attempt="1",
    has_outbox=False,
    settle=_settle,
)
"""Quotes of impacts as runs."""


class ImpactStore:
    """Impacts of proposed tables."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self.runs = Runs(database, IMPACT_RUNS)

    def named(self, numbers: Sequence[str]) -> dict[str, StoredQuote]:
        """Those of the quotes that there are, by number, each in its latest revision and without its body."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(SELECT.format(body=NO_BODY) + f" where q.quote_number = any(:numbers) and {LATEST}"),
                {"numbers": list(numbers)},
            )
            return {row.quote_number: stored(row) for row in rows}

    def accept(
        self, proposal: RateProposal, quotes: Sequence[str], key: IdempotencyKey | None, *, now: datetime, asked_by: str, caller: str,
        trace: str, kept_days: int, bounds: Bounds,
    ) -> tuple[str, bool]:  # fmt: skip
        """Store a proposal with the rows of quotes that are held against it; its impact's number, and whether it is a new one.

        Impacts older than `kept_days` are forgotten. A key used before gives the impact it was used for. Raises
        `QueueFull` or `KeyHasEnough` beyond the bounds, `IdempotencyKeyReused`.
        """

        def insert(connection: Connection) -> str:
            connection.execute(
                text("delete from quoting.impacts where created_at < :before"), {"before": now - timedelta(days=kept_days)}
            )
            refuse_when_full(connection, caller, len(quotes), bounds)
            number = _insert(connection, proposal, quotes, now=now, asked_by=asked_by, caller=caller, trace=trace)
            use_key(connection, key, now=now, impact=number)
            return number

        return accept_once(self._database, key, insert, known=by_number)

    def issued(self, number: str) -> bytes | None:
        """The body of the quote that the traveller `number` is held against, `None` when its impact is forgotten."""
        with self._database.transaction() as connection:
            row = connection.execute(
                text(
                    f"select {BODY} from quoting.impacted_quotes e join quoting.outcomes o on o.number = e.quote where e.number = :n"  # nosec B608  columns of ours
                ),
                {"n": number},
            ).one_or_none()
            return None if row is None else body_of(*row)

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
        return StoredImpact(**row._mapping, counts=self.runs.counts(number))

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


def _insert(
    connection: Connection, proposal: RateProposal, quotes: Sequence[str], *, now: datetime, asked_by: str, caller: str, trace: str
) -> str:
    position = connection.execute(text("select nextval('quoting.impact_numbers')")).scalar_one()
    number = f"I-{now.year}-{position:06d}"
    connection.execute(
        text("insert into quoting.impacts (number, position, table_name, proposal, proposal_digest, base_revision, size, created_at, "
             "asked_by, caller, trace) values (:number, :position, :table, :proposal, :digest, :base, :size, :now, :asked_by, :caller, :trace)"),
        {"number": number, "position": position, "table": proposal.table, "proposal": proposal.number, "digest": proposal.digest,
         "base": proposal.base_revision, "size": len(quotes), "now": now, "asked_by": asked_by, "caller": caller, "trace": trace},
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


def _impacted(row: Any) -> StoredImpactedQuote:
    values = dict(row._mapping)
    for name in ("figures", "problem"):
        values[name] = bytes(values[name]) if values[name] is not None else None
    return StoredImpactedQuote(**values)
