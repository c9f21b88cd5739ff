"""The second key of a revision that needs one: who approved it, with which key and when; never changed."""

from alembic import op

revision = "0017"
down_revision = "0016"

STATEMENTS = (
    """
    create table quoting.approvals (
        number text primary key references quoting.quotes,
        approved_by text not null,
        note text not null,
        key_id text not null,
        at timestamptz not null
    )
    """,
    """
    create function quoting.keep_approval() returns trigger language plpgsql as $$
    begin
        raise exception 'an approval is never changed';
    end
    $$
    """,
    "create trigger approvals_stand before update or delete on quoting.approvals for each row execute function quoting.keep_approval()",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("drop table quoting.approvals")
    op.execute("drop function quoting.keep_approval()")
