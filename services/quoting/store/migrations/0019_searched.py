"""What quotes are searched by, noted beside them: words, names of elements and glasses, prices of quantities.

What is noted can be worked out again. Triggers say of which quotes it has to be: all of before, and whatever is asked, becomes ready or
comes back from an archive, by whichever release that is.
"""

from alembic import op

revision = "0019"
down_revision = "0018"

STATEMENTS = (
    """
    create table quoting.searched (
        number text primary key references quoting.quotes (number),
        words tsvector not null,
        everything text not null,
        customer text not null,
        reference text not null,
        elements text[] not null,
        glasses text[] not null
    )
    """,
    "create index searched_by on quoting.searched using gin (words, elements, glasses)",
    """
    create table quoting.searched_prices (
        number text not null references quoting.quotes (number),
        quantity int not null,
        currency text not null,
        unit_price numeric not null,
        total_price numeric not null,
        primary key (number, quantity)
    )
    """,
    "create index searched_by_price on quoting.searched_prices (currency, total_price)",
    "create table quoting.to_note (number text primary key)",
    "insert into quoting.to_note select number from quoting.quotes",
    "create index outcomes_valid_until on quoting.outcomes (valid_until) where status = 'ready'",
    "create index quotes_created_at on quoting.quotes (created_at)",
    """
    create function quoting.note_later() returns trigger language plpgsql as $$
    begin
        insert into quoting.to_note values (new.number) on conflict do nothing;
        return null;
    end
    $$
    """,
    "create trigger quotes_noted after insert on quoting.quotes for each row execute function quoting.note_later()",
    "create trigger outcomes_noted after insert on quoting.outcomes for each row when (new.status = 'ready') "
    "execute function quoting.note_later()",
    "create trigger outcomes_back after update of archived_in on quoting.outcomes for each row "
    "when (old.archived_in is not null and new.archived_in is null) execute function quoting.note_later()",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    for trigger, table in (("quotes_noted", "quotes"), ("outcomes_noted", "outcomes"), ("outcomes_back", "outcomes")):
        op.execute(f"drop trigger {trigger} on quoting.{table}")
    op.execute("drop function quoting.note_later()")
    op.execute("drop index quoting.quotes_created_at, quoting.outcomes_valid_until")
    for table in ("to_note", "searched_prices", "searched"):
        op.execute(f"drop table quoting.{table}")
