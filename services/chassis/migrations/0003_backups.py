"""Backups that were made and found whole, so that an old one is noticed."""

from pathlib import Path

from alembic import op

revision = "0003"
# The one before may come after it.
down_revision = "0002" if [*Path(__file__).parent.glob("0002_*.py")] else "0001"


def upgrade() -> None:
    op.execute("""
        create table chassis.backups (
            at timestamptz not null primary key,
            bytes bigint not null check (bytes > 0),
            kind text not null check (kind <> ''),
            made_by text not null
        )
    """)


def downgrade() -> None:
    op.execute("drop table chassis.backups")
