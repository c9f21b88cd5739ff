"""By how much the price of a decided quote was over its cost, so that the win rate need not read whole quotes.

What is noted can be worked out again; quotes of before are noted when the win rate is first asked for.
"""

from alembic import op

revision = "0014"
down_revision = "0013"


def upgrade() -> None:
    op.execute(
        """
        create table quoting.decided_markups (
            number text primary key references quoting.quotes (number),
            decided_quantity int,
            markup double precision
        )
        """
    )


def downgrade() -> None:
    op.execute("drop table quoting.decided_markups")
