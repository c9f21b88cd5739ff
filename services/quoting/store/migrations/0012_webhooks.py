"""Endpoints outside that are told of entries of the feed, their secrets, and a delivery for each entry and endpoint."""

from alembic import op

revision = "0012"
down_revision = "0011"

STATEMENTS = (
    """
    create table quoting.webhook_endpoints (
        id text primary key,
        url text not null,
        types text[] not null,
        description text not null,
        created_at timestamptz not null,
        created_by text not null,
        position bigint not null,
        paused_at timestamptz,
        paused_why text check (paused_why in ('asked', 'gone')),
        failures int not null default 0,
        next_try_at timestamptz not null,
        lease text,
        leased_until timestamptz,
        check ((paused_at is null) = (paused_why is null))
    )
    """,
    """
    create table quoting.webhook_secrets (
        endpoint text not null references quoting.webhook_endpoints (id) on delete cascade,
        secret text not null,
        made_at timestamptz not null,
        good_until timestamptz,
        primary key (endpoint, secret)
    )
    """,
    """
    create table quoting.webhook_deliveries (
        id bigint generated always as identity primary key,
        endpoint text not null references quoting.webhook_endpoints (id) on delete cascade,
        message_id text not null,
        type text not null,
        position bigint,
        epoch text,
        state text not null default 'waiting' check (state in ('waiting', 'delivered', 'dead', 'failed')),
        attempts int not null default 0,
        created_at timestamptz not null,
        give_up_at timestamptz not null,
        last_tried_at timestamptz,
        last_status int,
        last_fault text,
        settled_at timestamptz,
        unique (endpoint, position)
    )
    """,
    "create index webhook_deliveries_listed on quoting.webhook_deliveries (endpoint, state, id)",
    "create index webhook_deliveries_settled on quoting.webhook_deliveries (settled_at) where settled_at is not null",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    for table in ("deliveries", "secrets", "endpoints"):
        op.execute(f"drop table quoting.webhook_{table}")
