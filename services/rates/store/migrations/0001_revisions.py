"""Revisions of the rate tables. A table is stored once for each content it ever had; nothing is ever changed.

Quotes keep the number of the revision they were made with, so that each can be worked out again years later. The
triggers refuse updates, deletes and emptying even by hand: a quote whose rates were mended afterwards cannot be explained.
"""

from alembic import op

revision = "0001"
down_revision = None

STATEMENTS = (
    """
    create table rates.table_versions (
        digest text primary key,
        table_name text not null,
        rows bytea not null
    )
    """,
    """
    create table rates.revisions (
        number int primary key,
        digest text not null,
        created_at timestamptz not null,
        created_by text not null,
        reason text not null,
        changed text[] not null
    )
    """,
    """
    create table rates.revision_tables (
        number int not null references rates.revisions,
        table_name text not null,
        digest text not null references rates.table_versions,
        primary key (number, table_name)
    )
    """,
    """
    create function rates.refuse_change() returns trigger language plpgsql as $$
    begin
        raise exception 'a rate revision is never changed; publish the next one';
    end
    $$
    """,
    *(
        f"create trigger {table}_{name} before {change} on rates.{table} for each {each} execute function rates.refuse_change()"
        for table in ("table_versions", "revisions", "revision_tables")
        for name, change, each in (("stand", "update or delete", "row"), ("stay", "truncate", "statement"))
    ),
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    for table in ("revision_tables", "revisions", "table_versions"):
        op.execute(f"drop table rates.{table}")
    op.execute("drop function rates.refuse_change()")
