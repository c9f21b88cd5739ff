"""An acceptance is an entry of its own in the feed of estimates: whoever reads on from a cursor is told of the order."""

from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.execute("alter table quoting.decisions add column feed_position bigint unique")


def downgrade() -> None:
    op.execute("alter table quoting.decisions drop column feed_position")
