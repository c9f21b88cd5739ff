"""Impacts of drafts: several tables, and beside the run with the draft one at today's rates where the issued price does not tell it.

What an outcome was worked out by is noted, so that it is known whether today's price is the issued one. Impacts of before compared with the
price as issued only; their figures cannot be told as three prices, and they are forgotten.
"""

from alembic import op

revision = "0009"
down_revision = "0008"

STATEMENTS = (
    "alter table quoting.outcomes add column release text",
    "delete from quoting.impacts",
    """
    alter table quoting.impacts
        drop column table_name,
        add column tables text[] not null,
        add column draft int,
        add column release text not null
    """,
    """
    alter table quoting.impacted_quotes
        add column rates text not null default 'draft' check (rates in ('today', 'draft')),
        add column unread boolean not null default false,
        drop constraint impacted_quotes_impact_place_key,
        add unique (impact, place, rates)
    """,
    "create index impacted_quotes_today on quoting.impacted_quotes (quote) where rates = 'today' and status = 'ready'",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("delete from quoting.impacts")
    op.execute("drop index quoting.impacted_quotes_today")
    op.execute("""
        alter table quoting.impacted_quotes
            drop constraint impacted_quotes_impact_place_rates_key, add unique (impact, place), drop column rates, drop column unread
    """)
    op.execute("""
        alter table quoting.impacts drop column tables, drop column draft, drop column release, add column table_name text not null
    """)
    op.execute("alter table quoting.outcomes drop column release")
