"""Proposed tables: what a revision would be, for working out what it would do. Kept for some days, never in force."""

from alembic import op

revision = "0002"
down_revision = "0001"

STATEMENTS = (
    """
    create table rates.proposals (
        position int generated always as identity primary key,
        base_revision int not null references rates.revisions,
        table_name text not null,
        rows bytea not null,
        digest text not null,
        created_at timestamptz not null,
        created_by text not null
    )
    """,
    "create index proposals_by_age on rates.proposals (created_at)",
    """
    create function rates.refuse_other_proposal() returns trigger language plpgsql as $$
    begin
        raise exception 'a proposal is never changed; make another';
    end
    $$
    """,
    "create trigger proposals_stand before update on rates.proposals for each row execute function rates.refuse_other_proposal()",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("drop table rates.proposals")
    op.execute("drop function rates.refuse_other_proposal()")
