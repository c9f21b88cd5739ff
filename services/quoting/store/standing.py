"""How the quotes stand as a whole: counts that only the tables know."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import text

from services.chassis.database import Database


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
        events = connection.execute(text("select kind, count(*) as many from quoting.events group by kind")).all()
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
