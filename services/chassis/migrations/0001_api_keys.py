"""Keys of callers."""

from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.execute("""
        create table chassis.api_keys (
            id text primary key,
            hash bytea not null,
            role text not null check (role in ('sales', 'erp', 'engineer', 'admin', 'service')),
            label text not null,
            created_at timestamptz not null,
            revoked_at timestamptz
        )
    """)


def downgrade() -> None:
    op.execute("drop table chassis.api_keys")
