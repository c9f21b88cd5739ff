"""Dead letters can be replayed: a failed quote starts anew, and its letter says when and by whom."""

from alembic import op

revision = "0003"
down_revision = "0002"

STATEMENTS = (
    """
    alter table quoting.dead_letters
        add column replayed_at timestamptz,
        add column replayed_by text,
        add column replayed_attempt int,
        add check ((replayed_at is null) = (replayed_by is null))
    """,
    "create index dead_letters_of_quote on quoting.dead_letters (number)",
    # The attempts that a quote may use are counted from here, so that a replayed one has all of them again.
    "alter table quoting.quotes add column first_attempt int not null default 1",
    # A failure has no figures. It alone may make room for another outcome; its letter keeps it.
    """
    create or replace function quoting.refuse_change() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' and old.status = 'failed' then
            return old;
        end if;
        raise exception 'an outcome is never changed';
    end
    $$
    """,
    # Quotes that were given up on before had no letter.
    """
    insert into quoting.dead_letters (number, attempt, stage, problem, traceback, versions, at)
    select o.number, o.attempt, 'quoting', o.problem, '', '', o.finished_at from quoting.outcomes o
    where o.status = 'failed' and not exists (select 1 from quoting.dead_letters d where d.number = o.number)
    """,
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("""
        create or replace function quoting.refuse_change() returns trigger language plpgsql as $$
        begin
            raise exception 'an outcome is never changed';
        end
        $$
    """)
    op.execute("alter table quoting.quotes drop column first_attempt")
    op.execute("drop index quoting.dead_letters_of_quote")
    op.execute("alter table quoting.dead_letters drop column replayed_at, drop column replayed_by, drop column replayed_attempt")
