"""What the customer calls a request, beside who asked: a list of quotes names it. Requests of before had none."""

from alembic import op

revision = "0016"
down_revision = "0015"


def upgrade() -> None:
    op.execute("alter table quoting.quotes add column reference text not null default ''")


def downgrade() -> None:
    op.execute("alter table quoting.quotes drop column reference")
