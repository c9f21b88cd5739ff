"""Finished jobs in figures, quoted beside actual: so that a report of thousands need not read all that was said of each.

What is noted can be worked out again from orders and reports; orders of before are noted when a report is first asked for.
"""

from alembic import op

revision = "0006"
down_revision = "0005"

STATEMENTS = (
    "create sequence orders.job_notes",
    """
    create table orders.job_figures (
        number text primary key references orders.orders (number),
        noted bigint not null unique,
        order_version text not null,
        actuals_position bigint not null,
        format int not null,
        finished_on date,
        document bytea,
        check ((finished_on is null) = (document is null))
    )
    """,
    # The last report of each order is looked up at every report.
    "create index actuals_last on orders.actuals (number, position)",
    "create index job_figures_by_day on orders.job_figures (finished_on desc, number desc) where finished_on is not null",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("drop index orders.actuals_last")
    op.execute("drop table orders.job_figures")
    op.execute("drop sequence orders.job_notes")
