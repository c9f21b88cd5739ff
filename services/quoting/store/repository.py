"""Quotes in PostgreSQL: how one is accepted and settled as a run, and how quotes are read. Times are given, never asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.chassis.version import VERSION
from services.quoting.errors import QuoteUnknown, RevisionUnknown
from services.quoting.store.blocks import DOCUMENTS, documents_of, packed_columns
from services.quoting.store.bounds import NO_BOUNDS, Bounds, first_check_at, refuse_when_full
from services.quoting.store.feed import NEXT_POSITION, insert_ready, lock_feed
from services.quoting.store.rows import (
    BODY,
    NUMBER,
    ROW_NUMBER,
    SELECT,
    IdempotencyKey,
    NewQuote,
    Start,
    StoredQuote,
    stored,
)
from services.quoting.store.runs import (
    Runs,
    RunTable,
    Settlement,
    accept_once,
    accepted_before,
    note_event,
    start_of,
    use_key,
)

LATEST = (
    "not exists (select 1 from quoting.quotes n where n.quote_number = q.quote_number and n.revision > q.revision "
    "and n.status <> 'cancelled')"
)
"""A later revision that was cancelled is as though it had never been asked for."""


def _settle(connection: Connection, settled: Settlement) -> bool:
    """Record the outcome of a quote unless it has one.

    If a later one differs from the one that stands, an event says so. One of an attempt from before the quote was replayed
    counts for nothing. A letter is kept of the outcome that stands.
    """
    number, attempt, outcome, now = settled.number, settled.attempt, settled.outcome, settled.now
    stands = _insert_outcome(connection, settled)
    if stands:
        connection.execute(
            text("update quoting.quotes set status = :status, next_check_at = null where number = :number"),
            {"number": number, "status": outcome.status},
        )
        note_event(connection, number, outcome.status, f"attempt {attempt}", now)
    else:
        digest = connection.execute(
            text("select digest from quoting.outcomes where number = :n and status <> 'cancelled'"), {"n": number}
        ).scalar_one_or_none()
        if digest is not None and digest != outcome.digest:
            note_event(connection, number, "late_outcome_differs", f"attempt {attempt}, digest {outcome.digest}", now)
    if stands and settled.letter is not None:
        connection.execute(
            text("insert into quoting.dead_letters (number, attempt, stage, problem, traceback, versions, at) "
                 "values (:number, :attempt, :stage, :problem, :traceback, :versions, :now)"),
            {"number": number, "attempt": attempt, "now": now, **vars(settled.letter)},
        )  # fmt: skip
    return stands


def _insert_outcome(connection: Connection, settled: Settlement) -> bool:
    outcome = settled.outcome
    if outcome.status == "ready":
        lock_feed(connection)
    feed = NEXT_POSITION if outcome.status == "ready" else "null"
    done = connection.execute(
        text(f"""
            insert into quoting.outcomes (number, attempt, status, digest, problem, valid_until, finished_at, feed_position,
                                          packing, packed, body_bytes, blanks_bytes, operations_bytes, release, rests_on)
            select :number, :attempt, :status, :digest, :problem, :valid_until, :now, {feed},
                   :packing, :packed, :body_bytes, :blanks_bytes, :operations_bytes, :release, :rests_on
            where not exists (select 1 from quoting.outcomes where number = :number)
              and exists (select 1 from quoting.quotes where number = :number and first_attempt <= :attempt)
            on conflict (number) do nothing returning feed_position
        """),  # nosec B608  `feed` is one of the two texts above
        {"number": settled.number, "attempt": settled.attempt, "now": settled.now, "release": VERSION, **vars(outcome),
         **packed_columns(outcome)},
    ).one_or_none()  # fmt: skip
    if done is not None and done.feed_position is not None:
        insert_ready(connection, settled.number, at=settled.now, position=done.feed_position)
    return done is not None


QUOTE_RUNS = RunTable(
    numbers=ROW_NUMBER,
    table="quoting.quotes",
    start="select r.number, r.attempt, r.request, r.rate_revision, r.quoted_on, r.trace, r.quote_number, r.revision, r.load_snapshot, r.large "
    "from quoting.quotes r",
    group="batch",
    large="r.large",
    first_attempt="r.first_attempt",
    has_outbox=True,
    settle=_settle,
)
"""Quotes as runs."""


def quote_start(connection: Connection, number: str) -> Start:
    """The start of the quote in the row `number` at its present attempt."""
    return start_of(connection, QUOTE_RUNS, number)


def insert_quotes(
    connection: Connection, quotes: Sequence[NewQuote], places: Sequence[dict[str, Any]], *, now: datetime, next_check_at: datetime | None
) -> None:  # fmt: skip
    """Write accepted requests with their first starts. Each of `places` has number, quote_number, position, revision, batch, batch_place."""
    connection.execute(
        text("""
            insert into quoting.quotes (number, quote_number, position, revision, status, customer, reference, title, request, rate_revision,
                                        quoted_on, load_snapshot, attempt, trace, created_at, next_check_at, batch, batch_place, caller, work_s, large)
            values (:number, :quote_number, :position, :revision, 'accepted', :customer, :reference, :title, :request, :rate_revision,
                    :quoted_on, :load_snapshot, 1, :trace, :now, :check, :batch, :batch_place, :caller, :work_s, :large)
        """),
        [{**vars(new), **place, "now": now, "check": next_check_at} for new, place in zip(quotes, places, strict=True)],
    )
    connection.execute(
        text("insert into quoting.outbox (number, attempt, created_at) values (:number, 1, :now)"),
        [{"number": place["number"], "now": now} for place in places],
    )


def insert_revision(
    connection: Connection, number: str, new: NewQuote, key: IdempotencyKey | None, *, position: int, revision: int, now: datetime,
    bounds: Bounds,
) -> Start:  # fmt: skip
    """Write one revision of the quote `number`, on its way at once unless it has to wait for its turn, and what its key was used for."""
    row = number if revision == 1 else f"{number}.{revision}"
    place = {"number": row, "quote_number": number, "position": position, "revision": revision, "batch": None, "batch_place": None}
    check = first_check_at(connection, new, now=now, bounds=bounds)
    insert_quotes(connection, [new], [place], now=now, next_check_at=check)
    use_key(connection, key, now=now, number=row)
    return Start(
        row,
        1,
        new.request,
        new.rate_revision,
        new.quoted_on,
        new.trace,
        number,
        revision,
        new.load_snapshot,
        new.large,
        check is None,
    )


class QuoteStore:
    """The quotes of the service. Each method is one transaction."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self.runs = Runs(database, QUOTE_RUNS)

    def accept(self, new: NewQuote, key: IdempotencyKey | None, *, now: datetime, bounds: Bounds = NO_BOUNDS) -> tuple[Start, bool]:
        """Store a request with its first start, all or nothing; the start, and whether it is a new one.

        A key used before gives the quote it was used for; raises `IdempotencyKeyReused` if that had another body, and
        `QueueFull` or `KeyHasEnough` for a new request beyond the bounds.
        """

        def insert(connection: Connection) -> Start:
            refuse_when_full(connection, new.caller, 1, bounds)
            position = connection.execute(text("select nextval('quoting.quote_numbers')")).scalar_one()
            number = f"Q-{new.quoted_on.year}-{position:06d}"
            return insert_revision(connection, number, new, key, position=position, revision=1, now=now, bounds=bounds)

        return accept_once(self._database, key, insert, known=quote_start)

    def start_under(self, key: IdempotencyKey | None) -> Start | None:
        """The start that a key was used for, `None` for a new key; raises `IdempotencyKeyReused` if it had another body."""
        return accepted_before(self._database, key, known=quote_start)

    def is_settled(self, number: str) -> bool:
        """Whether the quote has its outcome."""
        with self._database.transaction() as connection:
            return bool(
                connection.execute(text("select exists (select 1 from quoting.outcomes where number = :n)"), {"n": number}).scalar()
            )

    def quote(self, number: str, revision: int | None = None) -> StoredQuote:
        """A quote in its latest revision that was not cancelled, or the one named. Raises `QuoteUnknown`, also for what is no number of ours, and `RevisionUnknown`."""
        if not NUMBER.fullmatch(number):
            raise QuoteUnknown(number)
        with self._database.transaction() as connection:
            row = connection.execute(
                text(
                    SELECT.format(body=BODY)
                    + " where q.quote_number = :number and (cast(:revision as int) is null or q.revision = :revision)"
                    + " order by q.status = 'cancelled', q.revision desc limit 1"
                ),
                {"number": number, "revision": revision},
            ).one_or_none()
            if row is not None:
                return stored(row)
            latest = connection.execute(
                text("select max(revision) from quoting.quotes where quote_number = :number"), {"number": number}
            ).scalar()
        if revision is None or latest is None:
            raise QuoteUnknown(number)
        raise RevisionUnknown(number, revision, latest)

    def row(self, number: str) -> StoredQuote:
        """The revision that the row `number` holds; raises `QuoteUnknown`."""
        if not ROW_NUMBER.fullmatch(number):
            raise QuoteUnknown(number)
        with self._database.transaction() as connection:
            row = connection.execute(text(SELECT.format(body=BODY) + " where q.number = :number"), {"number": number}).one_or_none()
        if row is None:
            raise QuoteUnknown(number)
        return stored(row)

    def sections(self, number: str) -> tuple[Start, bytes, bytes] | None:
        """Head, blank plan and operation plan that the ready quote in the row `number` was made of; `None` for any other."""
        with self._database.transaction() as connection:
            row = connection.execute(
                text(f"{DOCUMENTS} where number = :n and status = 'ready' and archived_in is null"), {"n": number}
            ).one_or_none()
            if row is None:
                return None
            documents = documents_of(row)
            return quote_start(connection, number), documents.blanks, documents.operations

    def events(self, number: str) -> list[tuple[str, str, datetime]]:
        """What happened to a quote: kind, detail, when."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select kind, detail, at from quoting.events where number = :n order by id"), {"n": number}
            )
            return [(row.kind, row.detail, row.at) for row in rows]


@dataclass(frozen=True)
class Standing:
    """Events by their kind; travellers under way, with the time the oldest was started first; quotes of batches that wait
    for their turn; letters, and those among them that nobody has replayed."""

    events: dict[str, int]
    under_way: int
    oldest_began_at: datetime | None
    waiting: int
    letters: int
    open_letters: int


def standing(database: Database) -> Standing:
    """How all quotes stand now. Events are counted, not outcomes: that of a quote which is replayed goes, and a count must not."""
    with database.transaction() as connection:
        events = connection.execute(
            text("select kind, sum(many)::bigint as many from (select kind, count(*) as many from quoting.events group by kind "
                 "union all select kind, many from quoting.forgotten_events) as counted group by kind")
        ).all()  # fmt: skip
        unfinished = connection.execute(
            text("""
                select count(*) filter (where q.next_check_at is not null) as under_way,
                       count(*) filter (where q.next_check_at is null) as waiting,
                       min(b.began_at) filter (where q.next_check_at is not null) as oldest
                from quoting.quotes q
                left join lateral (select coalesce(min(o.sent_at), min(o.created_at)) as began_at from quoting.outbox o
                                   where o.number = q.number and o.attempt >= q.first_attempt) b on true
                where q.status = 'accepted'
            """)
        ).one()
        letters = connection.execute(
            text("select count(*) as letters, count(*) filter (where replayed_at is null) as open from quoting.dead_letters")
        ).one()
    return Standing(
        events={row.kind: row.many for row in events},
        under_way=unfinished.under_way,
        oldest_began_at=unfinished.oldest,
        waiting=unfinished.waiting,
        letters=letters.letters,
        open_letters=letters.open,
    )
