"""Quotes, what became of them, and the means by which none is lost."""

from alembic import op

revision = "0001"
down_revision = None

STATEMENTS = (
    "create sequence quoting.quote_numbers",
    "create sequence quoting.feed_positions",
    """
    create table quoting.quotes (
        number text primary key,
        position bigint not null unique,
        revision int not null default 1,
        status text not null check (status in ('accepted', 'ready', 'refused', 'failed')),
        customer text not null,
        title text not null,
        request bytea not null,
        rate_revision int not null,
        quoted_on date not null,
        attempt int not null,
        trace text not null,
        created_at timestamptz not null,
        next_check_at timestamptz
    )
    """,
    "create index quotes_to_check on quoting.quotes (next_check_at) where status = 'accepted'",
    """
    create table quoting.outcomes (
        number text primary key references quoting.quotes,
        attempt int not null,
        status text not null check (status in ('ready', 'refused', 'failed')),
        digest text not null,
        body bytea,
        blanks bytea,
        operations bytea,
        problem bytea,
        finished_at timestamptz not null,
        feed_position bigint unique,
        check ((body is null) = (status <> 'ready')),
        check ((problem is null) = (status = 'ready'))
    )
    """,
    """
    create function quoting.refuse_change() returns trigger language plpgsql as $$
    begin
        raise exception 'an outcome is never changed';
    end
    $$
    """,
    "create trigger outcomes_stand before update or delete on quoting.outcomes for each row execute function quoting.refuse_change()",
    """
    create table quoting.idempotency_keys (
        caller text not null,
        route text not null,
        key text not null,
        body_sha256 bytea not null,
        number text not null references quoting.quotes,
        created_at timestamptz not null,
        primary key (caller, route, key)
    )
    """,
    """
    create table quoting.outbox (
        id bigint generated always as identity primary key,
        number text not null references quoting.quotes,
        attempt int not null,
        created_at timestamptz not null,
        sent_at timestamptz,
        unique (number, attempt)
    )
    """,
    "create index outbox_unsent on quoting.outbox (created_at) where sent_at is null",
    """
    create table quoting.events (
        id bigint generated always as identity primary key,
        number text not null references quoting.quotes,
        kind text not null,
        detail text not null,
        at timestamptz not null
    )
    """,
    "create index events_of_quote on quoting.events (number, id)",
    """
    create table quoting.dead_letters (
        id bigint generated always as identity primary key,
        number text not null references quoting.quotes,
        attempt int not null,
        stage text not null,
        problem bytea not null,
        traceback text not null,
        versions text not null,
        at timestamptz not null
    )
    """,
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    for table in ("dead_letters", "events", "outbox", "idempotency_keys", "outcomes", "quotes"):
        op.execute(f"drop table quoting.{table}")
    op.execute("drop function quoting.refuse_change()")
    for sequence in ("quote_numbers", "feed_positions"):
        op.execute(f"drop sequence quoting.{sequence}")
