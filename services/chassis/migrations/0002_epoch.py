"""Epochs: what a restored backup begins anew, so that no number is given out twice and no cursor of before is taken for one of now."""

from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.execute("""
        create table chassis.epochs (
            number int primary key,
            token text not null,
            first_number int not null,
            began_at timestamptz not null,
            why text not null
        )
    """)
    op.execute("insert into chassis.epochs values (1, left(replace(gen_random_uuid()::text, '-', ''), 12), 1, now(), 'the first')")


def downgrade() -> None:
    op.execute("drop table chassis.epochs")
