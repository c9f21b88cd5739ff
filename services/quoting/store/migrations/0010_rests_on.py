"""Which rate rows the price of a quote rests on, beside its outcome: so that the readiness of the rates need not read whole quotes.

Quotes of before do not tell it; they are counted as such.
"""

from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    op.execute("alter table quoting.outcomes add column rests_on bytea")


def downgrade() -> None:
    op.execute("alter table quoting.outcomes drop column rests_on")
