"""Backups that were made and found whole, so that an old one is noticed."""

from alembic import op

revision = "0003"
down_revision = "0002"


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
