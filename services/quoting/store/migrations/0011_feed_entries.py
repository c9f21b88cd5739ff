"""The feed of estimates as entries of its own, each with its document as it was when it happened, and what an acceptance says of the order.

Ready outcomes and acceptances of before keep the positions that they had. What the feed did not tell then (revisions that were superseded,
declines, acceptances of before they had positions) is told now, after everything else and in the order in which it happened.
"""

import json
from datetime import UTC, datetime
from typing import Any

from alembic import op
from sqlalchemy import Connection, Row, text

revision = "0011"
down_revision = "0010"

TERMS = (
    "purchase_order text",
    "customer_number text",
    "contact text",
    "needed_by date",
    "reason text",
    "late boolean not null default false",
)
"""Of a decision: the customer's own names and day, why it was declined, and whether it was accepted after the last day."""

STATEMENTS = (
    """
    create table quoting.feed_entries (
        position bigint primary key,
        epoch text not null,
        type text not null check (type in ('ready', 'accepted', 'declined', 'expired', 'superseded', 'cancelled', 'rescheduled')),
        at timestamptz not null,
        number text not null,
        quote_number text not null,
        revision int not null,
        document bytea not null
    )
    """,
    "create index feed_entries_of_revision on quoting.feed_entries (number, position)",
    "create index feed_entries_of_quote on quoting.feed_entries (quote_number, revision)",
    """
    create function quoting.keep_feed_entry() returns trigger language plpgsql as $$
    begin
        raise exception 'an entry of the feed is never changed';
    end
    $$
    """,
    "create trigger feed_entries_stand before update or delete on quoting.feed_entries "
    "for each row execute function quoting.keep_feed_entry()",
    "alter table quoting.decisions " + ", ".join(f"add column {column}" for column in TERMS),
)

HAPPENED = """
    select 'ready' as type, o.feed_position as position, o.finished_at as at, q.number, false as decided
    from quoting.quotes q join quoting.outcomes o on o.number = q.number where o.status = 'ready'
    union all
    select d.decision, d.feed_position, d.at, d.number, true from quoting.decisions d
    union all
    select 'superseded', null, min(later.finished_at), q.number, false
    from quoting.quotes q join quoting.outcomes o on o.number = q.number and o.status = 'ready'
    join quoting.quotes n on n.quote_number = q.quote_number and n.revision > q.revision
    join quoting.outcomes later on later.number = n.number and later.status = 'ready'
    left join quoting.decisions d on d.number = q.number
    where d.number is null group by q.number
"""

ENTRIES = f"""
    select e.type, e.position, e.at, q.number, q.quote_number, q.revision, q.title,
           q.customer, o.finished_at, e.decided, d.decision, d.quantity, d.decided_by, d.note, d.key_id, d.at as decided_at, d.promised
    from ({HAPPENED}) e
    join quoting.quotes q on q.number = e.number
    join quoting.outcomes o on o.number = e.number
    left join quoting.decisions d on d.number = e.number
    order by e.position nulls last, e.at, e.number
"""  # nosec B608  nothing but the text above

AT_ONCE = 1000


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)
    _fill()


def _fill() -> None:
    """Write an entry for everything that happened before there were entries."""
    connection = op.get_bind()
    epoch = connection.execute(text("select token from chassis.epochs order by number desc limit 1")).scalar()
    rows = connection.execute(text(ENTRIES)).all()
    for first in range(0, len(rows), AT_ONCE):
        connection.execute(
            text("insert into quoting.feed_entries (position, epoch, type, at, number, quote_number, revision, document) "
                 "values (:position, :epoch, :type, :at, :number, :quote_number, :revision, :document)"),
            [_entry(row, str(epoch), row.position or _next_position(connection)) for row in rows[first : first + AT_ONCE]],
        )  # fmt: skip


def _next_position(connection: Connection) -> int:
    return int(connection.execute(text("select nextval('quoting.feed_positions')")).scalar_one())


def _entry(row: Row[Any], epoch: str, position: int) -> dict[str, object]:
    kept = {name: getattr(row, name) for name in ("type", "at", "number", "quote_number", "revision")}
    return {**kept, "position": position, "epoch": epoch, "document": _document(row, epoch, position)}


def _document(row: Row[Any], epoch: str, position: int) -> bytes:
    document = {
        "id": position,
        "epoch": epoch,
        "type": row.type,
        "at": _moment(row.at),
        "number": "E" + row.number.removeprefix("Q"),
        "quote_number": row.quote_number,
        "revision": row.revision,
        "title": row.title,
        "customer": row.customer,
        "finished_at": _moment(row.finished_at),
        "decision": _decision(row) if row.decided else None,
    }
    return json.dumps(document, ensure_ascii=False, separators=(",", ":")).encode()


def _decision(row: Row[Any]) -> dict[str, object]:
    return {
        "number": row.quote_number,
        "revision": row.revision,
        "decision": row.decision,
        "quantity": row.quantity,
        "by": row.decided_by,
        "note": row.note,
        "key_id": row.key_id,
        "at": _moment(row.decided_at),
        "promised": None if row.promised is None else json.loads(bytes(row.promised)),
    }


def _moment(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def downgrade() -> None:
    for column in TERMS:
        op.execute(f"alter table quoting.decisions drop column {column.split()[0]}")
    op.execute("drop table quoting.feed_entries")
    op.execute("drop function quoting.keep_feed_entry()")
