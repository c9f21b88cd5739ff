"""What a proposed rate table would do to open quotes: an impact, and a traveller's worth of work for each quote.

A quote of an impact has no `next_check_at` until its turn has come, as one of a batch. Nothing here is a quote: an
impact is forgotten after some days, with all that belongs to it.
"""

from alembic import op

revision = "0004"
down_revision = "0003"

STATEMENTS = (
    "create sequence quoting.impact_numbers",
    """
    create table quoting.impacts (
        number text primary key,
        position bigint not null unique,
        table_name text not null,
        proposal int not null check (proposal < 0),
        proposal_digest text not null,
        base_revision int not null,
        size int not null,
        created_at timestamptz not null,
        asked_by text not null,
        trace text not null
    )
    """,
    """
    create table quoting.impacted_quotes (
        number text primary key,
        impact text not null references quoting.impacts on delete cascade,
        place int not null,
        quote text not null references quoting.quotes,
        status text not null default 'accepted' check (status in ('accepted', 'ready', 'refused', 'failed')),
        attempt int not null default 1,
        next_check_at timestamptz,
        digest text,
        figures bytea,
        problem bytea,
        traceback text,
        finished_at timestamptz,
        unique (impact, place),
        check ((figures is null) = (status <> 'ready')),
        check ((problem is null) = (status in ('accepted', 'ready')))
    )
    """,
    "create index impacted_quotes_in_work on quoting.impacted_quotes (next_check_at) where status = 'accepted'",
    "alter table quoting.idempotency_keys drop constraint idempotency_keys_check",
    """
    alter table quoting.idempotency_keys
        add column impact text references quoting.impacts on delete cascade,
        add constraint idempotency_keys_check check (num_nonnulls(number, batch, impact) = 1)
    """,
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("delete from quoting.idempotency_keys where impact is not null")
    op.execute("alter table quoting.idempotency_keys drop constraint idempotency_keys_check, drop column impact")
    op.execute("alter table quoting.idempotency_keys add check ((number is null) <> (batch is null))")
    op.execute("drop table quoting.impacted_quotes")
    op.execute("drop table quoting.impacts")
    op.execute("drop sequence quoting.impact_numbers")
