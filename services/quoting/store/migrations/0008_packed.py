"""Documents of a quote lie compressed in one block; a block may be packed tighter, or moved into an archive and back, and stays the same bytes.

Rows of before keep their documents in columns of their own until they are packed. What is forgotten of events is counted, so that counters
never go back.
"""

from alembic import op

revision = "0008"
down_revision = "0007"

STANDS = ("number", "attempt", "status", "digest", "problem", "valid_until", "finished_at", "feed_position")

REFUSE_CHANGE_BEFORE = """
    create or replace function quoting.refuse_change() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' and old.status = 'failed' then
            return old;
        end if;
        raise exception 'an outcome is never changed';
    end
    $$
"""

REFUSE_CHANGE = f"""
    create or replace function quoting.refuse_change() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' and old.status = 'failed' then
            return old;
        end if;
        if tg_op = 'UPDATE' and current_setting('quoting.repacking', true) = 'on'
                and ({", ".join(f"new.{name}" for name in STANDS)}) is not distinct from ({", ".join(f"old.{name}" for name in STANDS)}) then
            return new;
        end if;
        raise exception 'an outcome is never changed';
    end
    $$
"""
"""What was answered is never changed; how and where its documents lie may be, by who says so for the transaction."""

STATEMENTS = (
    """
    alter table quoting.outcomes
        add column packing text,
        add column packed bytea,
        add column body_bytes int,
        add column blanks_bytes int,
        add column operations_bytes int,
        add column archived_in text,
        drop constraint outcomes_check,
        add constraint outcomes_check check (num_nonnulls(body, packed, archived_in) = case when status = 'ready' then 1 else 0 end),
        add constraint outcomes_packed check (num_nulls(packing, packed) <> 1),
        add constraint outcomes_sizes check (packed is null or num_nulls(body_bytes, blanks_bytes, operations_bytes) = 0),
        alter column packed set storage external
    """,
    REFUSE_CHANGE,
    "create index outcomes_to_pack on quoting.outcomes (finished_at) where body is not null or packing = 'zlib'",
    "create table quoting.forgotten_events (kind text primary key, many bigint not null)",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    # What is packed has no place in the old tables: the constraint on bodies refuses.
    op.execute("drop table quoting.forgotten_events")
    op.execute("drop index quoting.outcomes_to_pack")
    op.execute(REFUSE_CHANGE_BEFORE)
    op.execute("""
        alter table quoting.outcomes
            drop constraint outcomes_check,
            add constraint outcomes_check check ((body is null) = (status <> 'ready')),
            drop constraint outcomes_packed, drop constraint outcomes_sizes,
            drop column packing, drop column packed, drop column body_bytes, drop column blanks_bytes, drop column operations_bytes,
            drop column archived_in
    """)
