"""Copies of quotes in which something is changed: a what-if, and a traveller's worth of work for each copy.

Nothing here is a quote: a what-if is forgotten after some days, with all that belongs to it.
"""

from alembic import op

revision = "0018"
down_revision = "0017"

STATEMENTS = (
    "create sequence quoting.what_if_numbers",
    """
    create table quoting.what_ifs (
        number text primary key,
        position bigint not null unique,
        quote text not null references quoting.quotes,
        created_at timestamptz not null,
        asked_by text not null,
        caller text not null,
        trace text not null
    )
    """,
    """
    create table quoting.what_if_copies (
        number text primary key,
        what_if text not null references quoting.what_ifs on delete cascade,
        place int not null,
        name text not null,
        request bytea not null,
        rate_revision int not null,
        work_s real not null check (work_s > 0),
        large boolean not null,
        as_planned boolean not null,
        status text not null default 'accepted' check (status in ('accepted', 'ready', 'refused', 'failed', 'cancelled')),
        attempt int not null default 1,
        next_check_at timestamptz,
        digest text,
        figures bytea,
        problem bytea,
        traceback text,
        finished_at timestamptz,
        unique (what_if, place),
        check ((figures is null) = (status <> 'ready')),
        check ((problem is null) = (status in ('accepted', 'ready')))
    )
    """,
    "create index what_if_copies_in_work on quoting.what_if_copies (next_check_at) where status = 'accepted'",
    """
    alter table quoting.idempotency_keys
        drop constraint idempotency_keys_check,
        add column what_if text references quoting.what_ifs on delete cascade,
        add constraint idempotency_keys_check check (num_nonnulls(number, batch, impact, what_if) = 1)
    """,
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("delete from quoting.idempotency_keys where what_if is not null")
    op.execute("""
        alter table quoting.idempotency_keys
            drop constraint idempotency_keys_check,
            drop column what_if,
            add constraint idempotency_keys_check check (num_nonnulls(number, batch, impact) = 1)
    """)
    op.execute("drop table quoting.what_if_copies")
    op.execute("drop table quoting.what_ifs")
    op.execute("drop sequence quoting.what_if_numbers")
