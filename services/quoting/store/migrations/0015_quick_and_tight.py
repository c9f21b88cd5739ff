"""What is still to be packed tightly is found by the names of today's packings too: those of haste end with `-quick`."""

from alembic import op

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    op.execute("drop index quoting.outcomes_to_pack")
    op.execute(
        "create index outcomes_to_pack on quoting.outcomes (finished_at) "
        "where (body is not null or packing = 'zlib' or packing like '%-quick')"
    )


def downgrade() -> None:
    op.execute("drop index quoting.outcomes_to_pack")
    op.execute("create index outcomes_to_pack on quoting.outcomes (finished_at) where body is not null or packing = 'zlib'")
