"""Declines that were undone: the decision as it stood, who undid it, why and when. A decision goes only in the transaction that writes this.

The feed may tell that a decline was withdrawn, and that an open quote is about to expire.
"""

from alembic import op

revision = "0021"
down_revision = "0020"

TYPES = "'ready', 'accepted', 'declined', 'expired', 'superseded', 'cancelled', 'rescheduled'"

STATEMENTS = (
    """
    create table quoting.undone_decisions (
        id bigint generated always as identity primary key,
        number text not null references quoting.quotes,
        decision bytea not null,
        undone_by text not null,
        reason text not null,
        key_id text not null,
        at timestamptz not null,
        undone_in xid8 not null default pg_current_xact_id()
    )
    """,
    "create index undone_decisions_of_revision on quoting.undone_decisions (number, id)",
    """
    create function quoting.keep_undone_decision() returns trigger language plpgsql as $$
    begin
        raise exception 'that a decision was undone is never changed';
    end
    $$
    """,
    "create trigger undone_decisions_stand before update or delete on quoting.undone_decisions "
    "for each row execute function quoting.keep_undone_decision()",
    """
    create or replace function quoting.keep_decision() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' and old.decision = 'declined' and exists (
            select 1 from quoting.undone_decisions u where u.number = old.number and u.undone_in = pg_current_xact_id()
        ) then
            return old;
        end if;
        raise exception 'a decision is never changed';
    end
    $$
    """,
    "alter table quoting.feed_entries drop constraint feed_entries_type_check",
    f"alter table quoting.feed_entries add constraint feed_entries_type_check check (type in ({TYPES}, 'withdrawn', 'expiring'))",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    # An entry of a new type has no place in the old table: the constraint refuses.
    op.execute("alter table quoting.feed_entries drop constraint feed_entries_type_check")
    op.execute(f"alter table quoting.feed_entries add constraint feed_entries_type_check check (type in ({TYPES}))")
    op.execute(
        "create or replace function quoting.keep_decision() returns trigger language plpgsql as $$ "
        "begin raise exception 'a decision is never changed'; end $$"
    )
    op.execute("drop table quoting.undone_decisions")
    op.execute("drop function quoting.keep_undone_decision()")
