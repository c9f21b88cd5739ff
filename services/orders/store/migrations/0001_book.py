"""Orders, what is booked, and snapshots of the book. A snapshot is never changed: quotes are dated by it."""

from alembic import op

revision = "0001"
down_revision = None

STATEMENTS = (
    """
    create table orders.orders (
        number text primary key,
        position bigint not null unique,
        document bytea not null,
        state text not null check (state in ('booked', 'completed', 'cancelled')),
        state_at timestamptz not null,
        key_id text not null
    )
    """,
    """
    create table orders.bookings (
        source text not null,
        order_name text not null,
        work_centre text not null,
        week date not null check (extract(isodow from week) = 1),
        ticks bigint not null check (ticks > 0),
        ship_date date,
        primary key (source, order_name, work_centre, week)
    )
    """,
    """
    create table orders.snapshots (
        number int primary key,
        digest text not null,
        made_at timestamptz not null,
        orders int not null,
        document bytea not null
    )
    """,
    """
    create function orders.refuse_change() returns trigger language plpgsql as $$
    begin
        raise exception 'a snapshot of the book is never changed; publish the next one';
    end
    $$
    """,
    *(
        f"create trigger snapshots_{name} before {change} on orders.snapshots for each {each} execute function orders.refuse_change()"
        for name, change, each in (("stand", "update or delete", "row"), ("stay", "truncate", "statement"))
    ),
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    for table in ("snapshots", "bookings", "orders"):
        op.execute(f"drop table orders.{table}")
    op.execute("drop function orders.refuse_change()")
