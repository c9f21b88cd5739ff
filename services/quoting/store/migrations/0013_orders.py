"""What quoting knows of orders: up to which event it has taken them in, and which have ended; and acceptances that change an order."""

from alembic import op

revision = "0013"
down_revision = "0012"

STATEMENTS = (
    "create table quoting.order_events_taken (position bigint not null)",
    "insert into quoting.order_events_taken values (0)",
    "create unique index one_order_event_position on quoting.order_events_taken ((true))",
    """
    create table quoting.order_ends (
        quote_number text primary key,
        state text not null check (state in ('cancelled', 'completed')),
        at timestamptz not null
    )
    """,
    "alter table quoting.decisions add column changes_order int, add column order_change bytea, "
    "add check (changes_order is null or decision = 'accepted')",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("alter table quoting.decisions drop column order_change, drop column changes_order")
    op.execute("drop table quoting.order_ends")
    op.execute("drop table quoting.order_events_taken")
