"""What really happened to the operations of orders: every entry is kept, the last of an operation is the one that counts."""

from alembic import op

revision = "0004"
down_revision = "0003"

STATEMENTS = (
    """
    create table orders.actuals (
        position bigint generated always as identity primary key,
        number text not null references orders.orders (number),
        operation text not null,
        document bytea not null,
        at timestamptz not null,
        key_id text not null
    )
    """,
    "create index actuals_of_order on orders.actuals (number, operation, position)",
    """
    create table orders.actual_requests (
        key_id text not null,
        idempotency_key text not null,
        digest text not null,
        at timestamptz not null,
        primary key (key_id, idempotency_key)
    )
    """,
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("drop table orders.actual_requests")
    op.execute("drop table orders.actuals")
