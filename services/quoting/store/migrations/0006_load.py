"""The book of load that a quote is dated by, the date worked out again when it is accepted, and what is handed over to orders.

What is handed over is written with the acceptance, in one transaction, and never changed.
"""

from alembic import op

revision = "0006"
down_revision = "0005"

KEPT_BEFORE = (
    "number", "quote_number", "position", "revision", "customer", "title", "request", "rate_revision", "quoted_on", "trace", "created_at",
    "batch", "batch_place",
)  # fmt: skip
KEPT = (*KEPT_BEFORE, "load_snapshot")


def keep_request(kept: tuple[str, ...]) -> str:
    """The function of the trigger that refuses changes of what was asked."""
    now, before = (", ".join(f"{row}.{name}" for name in kept) for row in ("new", "old"))
    return f"""
    create or replace function quoting.keep_request() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' then
            raise exception 'a quote is never deleted';
        end if;
        if old.status in ('ready', 'refused') then
            raise exception 'a settled quote is never changed';
        end if;
        if ({now}) is distinct from ({before}) then
            raise exception 'what was asked is never changed';
        end if;
        return new;
    end
    $$
    """


STATEMENTS = (
    "alter table quoting.quotes add column load_snapshot int check (load_snapshot > 0)",
    keep_request(KEPT),
    "alter table quoting.decisions add column promised bytea, add check (promised is null or decision = 'accepted')",
    """
    create table quoting.handovers (
        position bigserial primary key,
        number text not null unique references quoting.decisions,
        document bytea not null,
        at timestamptz not null
    )
    """,
    """
    create function quoting.keep_handover() returns trigger language plpgsql as $$
    begin
        raise exception 'what was handed over is never changed';
    end
    $$
    """,
    "create trigger handovers_stand before update or delete on quoting.handovers for each row execute function quoting.keep_handover()",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("drop table quoting.handovers")
    op.execute("drop function quoting.keep_handover()")
    op.execute("alter table quoting.decisions drop column promised")
    op.execute(keep_request(KEPT_BEFORE))
    op.execute("alter table quoting.quotes drop column load_snapshot")
