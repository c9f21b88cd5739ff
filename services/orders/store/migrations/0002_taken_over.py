"""How far the orders service has read what quoting hands over: also past an entry that made no order, so that none is read for ever."""

from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.execute("create table orders.taken_over (position bigint not null)")
    op.execute("insert into orders.taken_over select coalesce(max(position), 0) from orders.orders")
    op.execute("create unique index one_position on orders.taken_over ((true))")


def downgrade() -> None:
    op.execute("drop table orders.taken_over")
