"""What proposed rates would do to open quotes, in PostgreSQL: asked for together, admitted to the queues a few at a time.

Of each quote there is a run with the draft, and one at today's rates where the issued price does not tell that. Quotes themselves are
read here and never written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.chassis.version import VERSION
from services.quoting.errors import ImpactUnknown
from services.quoting.store.bounds import Bounds, refuse_when_full
from services.quoting.store.repository import LATEST
from services.quoting.store.rows import BODY, NO_BODY, SELECT, IdempotencyKey, StoredQuote, body_of, stored
from services.quoting.store.runs import Runs, RunTable, Settlement, accept_once, by_number, use_key
from services.quoting.store.searching import STANDS, STATES
from shared_schemas.rate_impact import ImpactChoice, RateProposal

NUMBER = re.compile(r"I-\d{4}-\d{6,12}", re.ASCII)
"""What an impact is called: year and position."""

AT_TODAY = "t"
ENTRY = re.compile(NUMBER.pattern + rf"\.\d{{1,4}}{AT_TODAY}?", re.ASCII)
"""What the traveller of one of its quotes is called: the number, and the quote's place from 1; with a t at today's rates."""


@dataclass(frozen=True)
class Proposed:
    """What is held against the quotes: a proposal, the tables that it changes, and the draft it was made of."""

    proposal: RateProposal
    tables: tuple[str, ...]
    draft: int | None


@dataclass(frozen=True)
class QuoteToHold:
    """A quote that is held against a proposal.

    `today_as_issued`: its price today is the issued one. `unread`: with the draft it is today's.
    """

    number: str
    today_as_issued: bool
    unread: bool


@dataclass(frozen=True)
class StoredImpact:
    """An impact, and how many of its runs have which status in the table."""

    number: str
    tables: tuple[str, ...]
    draft: int | None
    proposal: int
    proposal_digest: str
    base_revision: int
    size: int
    created_at: datetime
    asked_by: str
    counts: dict[str, int]

    @property
    def in_work(self) -> int:
        """Runs without an outcome."""
        return self.counts.get("accepted", 0)


@dataclass(frozen=True)
class StoredImpactedQuote:
    """One quote of an impact, with what became of it with the draft, and today; without a run of its own, today is as issued.

    `rate_revision` is the one it was issued at.
    """

    place: int
    quote_number: str
    revision: int
    customer: str
    title: str
    rate_revision: int
    issued_status: str
    unread: bool
    status: str
    figures: bytes | None
    problem: bytes | None
    today_status: str | None
    today_figures: bytes | None
    today_problem: bytes | None


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
    start="select r.number, r.attempt, q.request, case r.rates when 'today' then i.base_revision else i.proposal end as rate_revision, q.quoted_on, "
    "i.trace, q.quote_number, q.revision, q.load_snapshot, q.large, true as prices_only, r.unread as concludes_at_once "
    "from quoting.impacted_quotes r join quoting.impacts i on i.number = r.impact join quoting.quotes q on q.number = r.quote",
    group="impact",
    large="(select q.large from quoting.quotes q where q.number = r.quote)",
    first_attempt="1",
    has_outbox=False,
    settle=_settle,
)
"""Quotes of impacts as runs."""


class ImpactStore:
    """Impacts of proposed rates."""

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

    def chosen(self, choice: ImpactChoice, *, today: date) -> list[StoredQuote]:
        """The newest open quotes that a choice without numbers is of, and if it says so the refused ones; without their bodies."""
        states = f"({STATES['open']}) or (q.status = 'refused' and {STANDS})" if choice.refused else STATES["open"]
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(SELECT.format(body=NO_BODY) + f" where ({states}) and (cast(:customer as text) is null or q.customer = :customer) "
                     "and (cast(:since as date) is null or q.quoted_on >= :since) order by q.position desc limit :most"),
                {"today": today, "customer": choice.customer, "since": choice.issued_since, "most": choice.most},
            )  # fmt: skip
            return [stored(row) for row in rows]

    def requests(self, numbers: Sequence[str]) -> dict[str, bytes]:
        """What was asked in those rows of quotes."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select number, request from quoting.quotes where number = any(:numbers)"), {"numbers": list(numbers)}
            )
            return {row.number: bytes(row.request) for row in rows}

    def accept(
        self, proposed: Proposed, quotes: Sequence[QuoteToHold], key: IdempotencyKey | None, *, now: datetime, asked_by: str, caller: str,
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
            refuse_when_full(connection, caller, sum(1 if quote.today_as_issued else 2 for quote in quotes), bounds)
            number = _insert(connection, proposed, now=now, size=len(quotes), asked_by=asked_by, caller=caller, trace=trace)
            _insert_runs(connection, number, quotes)
            _take_over_today(connection, number, proposed.proposal.base_revision, now=now)
            use_key(connection, key, now=now, impact=number)
            return number

        return accept_once(self._database, key, insert, known=by_number)

    def issued(self, number: str) -> tuple[str, bytes | None, bytes | None] | None:
        """Status, body and problem of the quote that the traveller `number` is held against, `None` when its impact is forgotten."""
        with self._database.transaction() as connection:
            row = connection.execute(
                text(
                    f"select o.status, o.problem, {BODY} from quoting.impacted_quotes e join quoting.outcomes o on o.number = e.quote where e.number = :n"  # nosec B608  columns of ours
                ),
                {"n": number},
            ).one_or_none()
            if row is None:
                return None
            status, problem, *body = row
            return status, body_of(*body), None if problem is None else bytes(problem)

    def impact(self, number: str) -> StoredImpact:
        """An impact and how far it is; raises `ImpactUnknown`, also for what is no number of ours."""
        if not NUMBER.fullmatch(number):
            raise ImpactUnknown(number)
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select number, tables, draft, proposal, proposal_digest, base_revision, size, created_at, asked_by "
                     "from quoting.impacts where number = :n"), {"n": number},
            ).one_or_none()  # fmt: skip
        if row is None:
            raise ImpactUnknown(number)
        values: Mapping[str, Any] = {**row._mapping, "tables": tuple(row.tables)}
        return StoredImpact(**values, counts=self.runs.counts(number))

    def quotes(self, number: str) -> list[StoredImpactedQuote]:
        """Every quote of an impact, in the order of their places."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select e.place, q.quote_number, q.revision, q.customer, q.title, q.rate_revision, q.status as issued_status, e.unread,
                           e.status, e.figures, e.problem, t.status as today_status, t.figures as today_figures, t.problem as today_problem
                    from quoting.impacted_quotes e join quoting.quotes q on q.number = e.quote
                    left join quoting.impacted_quotes t on t.impact = e.impact and t.place = e.place and t.rates = 'today'
                    where e.impact = :n and e.rates = 'draft' order by e.place
                """),
                {"n": number},
            )
            return [_impacted(row) for row in rows]


def _insert(
    connection: Connection, proposed: Proposed, *, now: datetime, size: int, asked_by: str, caller: str, trace: str
) -> str:  # fmt: skip
    position = connection.execute(text("select nextval('quoting.impact_numbers')")).scalar_one()
    number = f"I-{now.year}-{position:06d}"
    proposal = proposed.proposal
    connection.execute(
        text("insert into quoting.impacts (number, position, tables, draft, proposal, proposal_digest, base_revision, size, created_at, "
             "asked_by, caller, trace, release) values (:number, :position, :tables, :draft, :proposal, :digest, :base, :size, :now, :asked_by, "
             ":caller, :trace, :release)"),
        {"number": number, "position": position, "tables": list(proposed.tables), "draft": proposed.draft, "proposal": proposal.number,
         "digest": proposal.digest, "base": proposal.base_revision, "size": size, "now": now, "asked_by": asked_by, "caller": caller,
         "trace": trace, "release": VERSION},
    )  # fmt: skip
    return number


def _insert_runs(connection: Connection, impact: str, quotes: Sequence[QuoteToHold]) -> None:
    """A run with the draft for each quote, and one at today's rates for those whose issued price does not tell it."""
    rows = [
        {
            "number": f"{impact}.{place + 1}{'' if rates == 'draft' else AT_TODAY}",
            "impact": impact,
            "place": place,
            "quote": quote.number,
            "rates": rates,
            "unread": quote.unread and rates == "draft",
        }
        for place, quote in enumerate(quotes)
        for rates in (("draft",) if quote.today_as_issued else ("today", "draft"))
    ]
    if rows:
        connection.execute(
            text("insert into quoting.impacted_quotes (number, impact, place, quote, rates, unread) "
                 "values (:number, :impact, :place, :quote, :rates, :unread)"),
            rows,
        )  # fmt: skip


def _take_over_today(connection: Connection, impact: str, base_revision: int, *, now: datetime) -> None:
    """Quotes that an earlier impact worked out at the same rates by the same release are not worked out again."""
    connection.execute(
        text("""
            update quoting.impacted_quotes e set status = 'ready', figures = b.figures, digest = b.digest, finished_at = :now
            from (select distinct on (t.quote) t.quote, t.figures, t.digest
                  from quoting.impacted_quotes t join quoting.impacts i on i.number = t.impact
                  where t.rates = 'today' and t.status = 'ready' and i.base_revision = :base and i.release = :release) b
            where e.impact = :impact and e.rates = 'today' and b.quote = e.quote
        """),
        {"impact": impact, "base": base_revision, "release": VERSION, "now": now},
    )


def _impacted(row: Any) -> StoredImpactedQuote:
    values = dict(row._mapping)
    for name in ("figures", "problem", "today_figures", "today_problem"):
        values[name] = bytes(values[name]) if values[name] is not None else None
    return StoredImpactedQuote(**values)
