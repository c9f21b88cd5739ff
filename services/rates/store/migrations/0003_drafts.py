"""Drafts of several tables, who published a revision by key, and proposals of several tables."""

from alembic import op

revision = "0003"
down_revision = "0002"

STATEMENTS = (
    """
    create table rates.drafts (
        number int generated always as identity primary key,
        name text not null,
        reason text not null,
        status text not null check (status in ('open', 'scheduled', 'published', 'stale')),
        base_revision int not null references rates.revisions,
        from_revision int references rates.revisions,
        created_at timestamptz not null,
        created_by text not null,
        created_by_key text not null,
        changed_at timestamptz not null,
        changed_by text not null,
        changed_by_key text not null,
        confirmed text[] not null default '{}',
        effective_from timestamptz,
        published_revision int references rates.revisions,
        why text
    )
    """,
    "create index drafts_that_wait on rates.drafts (effective_from) where status = 'scheduled'",
    """
    create table rates.draft_tables (
        number int not null references rates.drafts on delete cascade,
        table_name text not null,
        rows bytea not null,
        digest text not null,
        primary key (number, table_name)
    )
    """,
    "alter table rates.revisions add column created_by_key text, add column draft int",
    "alter table rates.proposals alter column table_name drop not null, alter column rows drop not null",
    """
    create table rates.proposal_tables (
        position int not null references rates.proposals on delete cascade,
        table_name text not null,
        rows bytea not null,
        primary key (position, table_name)
    )
    """,
    """
    create trigger proposal_tables_stand before update on rates.proposal_tables
    for each row execute function rates.refuse_other_proposal()
    """,
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("drop table rates.proposal_tables")
    op.execute("delete from rates.proposals where table_name is null")
    op.execute("alter table rates.proposals alter column table_name set not null, alter column rows set not null")
    op.execute("alter table rates.revisions drop column created_by_key, drop column draft")
    op.execute("drop table rates.draft_tables")
    op.execute("drop table rates.drafts")
