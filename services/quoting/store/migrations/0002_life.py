"""Revisions of a quote, what was decided on them, and requests in bulk.

`number` stays what a row, its traveller and its queue messages are called by: `Q-2026-000001` for the first revision,
`Q-2026-000001.2` for the second. `quote_number` is what people call it by, the same for all its revisions.
"""

from alembic import op

revision = "0002"
down_revision = "0001"

KEPT = "number, quote_number, position, revision, customer, title, request, rate_revision, quoted_on, trace, created_at, batch, batch_place"

STATEMENTS = (
    "create sequence quoting.batch_numbers",
    """
    create table quoting.batches (
        number text primary key,
        position bigint not null unique,
        size int not null check (size > 0),
        created_at timestamptz not null
    )
    """,
    """
    alter table quoting.quotes
        add column quote_number text,
        add column batch text references quoting.batches,
        add column batch_place int
    """,
    "update quoting.quotes set quote_number = number",
    """
    alter table quoting.quotes
        alter column quote_number set not null,
        drop constraint quotes_position_key,
        add unique (position, revision),
        add unique (quote_number, revision),
        add unique (batch, batch_place),
        add check (revision >= 1),
        add check (revision = 1 or batch is null),
        add check ((batch is null) = (batch_place is null))
    """,
    "create index quotes_of_batches_in_work on quoting.quotes (position) where batch is not null and status = 'accepted'",
    f"""
    create function quoting.keep_request() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' then
            raise exception 'a quote is never deleted';
        end if;
        if old.status in ('ready', 'refused') then
            raise exception 'a settled quote is never changed';
        end if;
        if ({", ".join(f"new.{name.strip()}" for name in KEPT.split(","))})
                is distinct from ({", ".join(f"old.{name.strip()}" for name in KEPT.split(","))}) then
            raise exception 'what was asked is never changed';
        end if;
        return new;
    end
    $$
    """,
    "create trigger quotes_stand before update or delete on quoting.quotes for each row execute function quoting.keep_request()",
    "alter table quoting.outcomes add column valid_until date",
    "alter table quoting.outcomes disable trigger outcomes_stand",
    """
    update quoting.outcomes set valid_until = (convert_from(body, 'UTF8')::json ->> 'valid_until')::date where status = 'ready'
    """,
    "alter table quoting.outcomes enable trigger outcomes_stand",
    """
    create table quoting.decisions (
        number text primary key references quoting.quotes,
        decision text not null check (decision in ('accepted', 'declined')),
        quantity int,
        decided_by text not null,
        note text not null,
        key_id text not null,
        at timestamptz not null,
        check (decision = 'declined' or quantity is not null)
    )
    """,
    """
    create function quoting.keep_decision() returns trigger language plpgsql as $$
    begin
        raise exception 'a decision is never changed';
    end
    $$
    """,
    "create trigger decisions_stand before update or delete on quoting.decisions for each row execute function quoting.keep_decision()",
    """
    alter table quoting.idempotency_keys
        alter column number drop not null,
        add column batch text references quoting.batches,
        add check ((number is null) <> (batch is null))
    """,
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    # With a second revision of anything the old tables have no place for it: the constraint on positions refuses.
    op.execute("alter table quoting.quotes add constraint quotes_position_key unique (position)")
    op.execute("drop trigger quotes_stand on quoting.quotes")
    op.execute("drop table quoting.decisions")
    op.execute("delete from quoting.idempotency_keys where batch is not null")
    op.execute("alter table quoting.idempotency_keys drop column batch, alter column number set not null")
    op.execute("alter table quoting.outcomes drop column valid_until")
    op.execute("alter table quoting.quotes drop column quote_number, drop column batch, drop column batch_place")
    op.execute("drop table quoting.batches")
    op.execute("drop sequence quoting.batch_numbers")
    for function in ("keep_request", "keep_decision"):
        op.execute(f"drop function quoting.{function}()")
