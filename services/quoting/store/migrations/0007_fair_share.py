"""Who asked and how much work it is, by which turns are given; and quotes that are cancelled while they are under way.

What was asked before this revision has no caller and no estimate: it counts as work of one key without a name.
"""

from alembic import op

revision = "0007"
down_revision = "0006"

KEPT_BEFORE = (
    "number", "quote_number", "position", "revision", "customer", "title", "request", "rate_revision", "quoted_on", "trace", "created_at",
    "batch", "batch_place", "load_snapshot",
)  # fmt: skip
KEPT = (*KEPT_BEFORE, "caller", "work_s", "large")


def keep_request(kept: tuple[str, ...], settled: tuple[str, ...]) -> str:
    """The function of the trigger that refuses changes of what was asked, and of what is settled."""
    now, before = (", ".join(f"{row}.{name}" for name in kept) for row in ("new", "old"))
    return f"""
    create or replace function quoting.keep_request() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' then
            raise exception 'a quote is never deleted';
        end if;
        if old.status in ({", ".join(f"'{status}'" for status in settled)}) then
            raise exception 'a settled quote is never changed';
        end if;
        if ({now}) is distinct from ({before}) then
            raise exception 'what was asked is never changed';
        end if;
        return new;
    end
    $$
    """


def statuses(table: str, names: tuple[str, ...]) -> str:
    """The statement by which a table takes these statuses and no others."""
    listed = ", ".join(f"'{name}'" for name in names)
    return f"""
    alter table quoting.{table}
        drop constraint {table}_status_check,
        add constraint {table}_status_check check (status in ({listed}))
    """


STATEMENTS = (
    """
    alter table quoting.quotes
        add column caller text not null default '',
        add column work_s real not null default 1 check (work_s > 0),
        add column large boolean not null default false
    """,
    "alter table quoting.impacts add column caller text not null default ''",
    statuses("quotes", ("accepted", "ready", "refused", "failed", "cancelled")),
    statuses("outcomes", ("ready", "refused", "failed", "cancelled")),
    statuses("impacted_quotes", ("accepted", "ready", "refused", "failed", "cancelled")),
    keep_request(KEPT, ("ready", "refused", "cancelled")),
    "create index quotes_unfinished on quoting.quotes (caller, (batch is not null), position) where status = 'accepted'",
    "drop index quoting.quotes_of_batches_in_work",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    # What was cancelled has no place in the old tables: the constraints on statuses refuse.
    op.execute("drop index quoting.quotes_unfinished")
    op.execute(
        "create index quotes_of_batches_in_work on quoting.quotes (position) where batch is not null and status = 'accepted'"
    )
    op.execute(keep_request(KEPT_BEFORE, ("ready", "refused")))
    op.execute(statuses("quotes", ("accepted", "ready", "refused", "failed")))
    op.execute(statuses("outcomes", ("ready", "refused", "failed")))
    op.execute(statuses("impacted_quotes", ("accepted", "ready", "refused", "failed")))
    op.execute("alter table quoting.quotes drop column caller, drop column work_s, drop column large")
    op.execute("alter table quoting.impacts drop column caller")
