"""Events of orders, which are only ever added, and how an order ended. What ended before there were events is told now, in the order in which it did."""

import json
from datetime import UTC

from alembic import op
from sqlalchemy import text

revision = "0005"
down_revision = "0004"

STATEMENTS = (
    "alter table orders.orders add column ending bytea",
    "create sequence orders.event_ids",
    """
    create table orders.events (
        id bigint primary key,
        epoch text not null,
        type text not null check (type in ('cancelled', 'completed', 'rescheduled')),
        at timestamptz not null,
        number text not null references orders.orders (number),
        revision int not null,
        document bytea not null
    )
    """,
    "create index events_of_order on orders.events (number, id)",
    """
    create function orders.keep_event() returns trigger language plpgsql as $$
    begin
        raise exception 'an event of an order is never changed';
    end
    $$
    """,
    "create trigger events_stand before update or delete on orders.events for each row execute function orders.keep_event()",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)
    _fill()


def _fill() -> None:
    """Write an event for every order that has ended."""
    connection = op.get_bind()
    rows = connection.execute(text("select * from orders.orders where state <> 'booked' order by state_at, position")).all()
    if not rows:
        return
    epoch = str(connection.execute(text("select token from chassis.epochs order by number desc limit 1")).scalar())
    for row in rows:
        at = row.state_at.astimezone(UTC).isoformat().replace("+00:00", "Z")
        order = json.loads(bytes(row.document))
        ending = {
            "at": at, "by": "", "key_id": row.key_id, "reason": "other", "note": "", "charge": "0", "currency": order.get("currency", "")
        }  # fmt: skip
        event_id = int(connection.execute(text("select nextval('orders.event_ids')")).scalar_one())
        event = {
            "id": event_id,
            "epoch": epoch,
            "type": row.state,
            "at": at,
            "order": row.number,
            "revision": order["revision"],
            **({"cancellation": ending} if row.state == "cancelled" else {}),
        }
        connection.execute(
            text("insert into orders.events (id, epoch, type, at, number, revision, document) "
                 "values (:id, :epoch, :type, :at, :number, :revision, :document)"),
            {**event, "at": row.state_at, "number": row.number, "document": _json(event)},
        )  # fmt: skip
        if row.state == "cancelled":
            connection.execute(
                text("update orders.orders set ending = :ending where number = :n"), {"ending": _json(ending), "n": row.number}
            )


def _json(document: dict[str, object]) -> bytes:
    return json.dumps(document, ensure_ascii=False, separators=(",", ":")).encode()


def downgrade() -> None:
    op.execute("drop table orders.events")
    op.execute("drop function orders.keep_event()")
    op.execute("drop sequence orders.event_ids")
    op.execute("alter table orders.orders drop column ending")
