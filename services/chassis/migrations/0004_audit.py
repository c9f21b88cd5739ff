"""The audit log: entries follow one another, each with the hash of the one before, and none is ever changed."""

from alembic import op

revision = "0004"
down_revision = "0003"

STATEMENTS = (
    """
    create table chassis.audit (
        number bigint primary key check (number > 0),
        at timestamptz not null,
        action text not null check (action <> ''),
        by_key text not null,
        label text not null,
        subject text not null,
        details text not null,
        previous text not null unique check (length(previous) = 64),
        hash text not null unique check (length(hash) = 64)
    )
    """,
    "create index audit_by_action on chassis.audit (action, number)",
    "create index audit_by_subject on chassis.audit (subject, number)",
    "create index audit_by_key on chassis.audit (by_key, number)",
    """
    create function chassis.keep_audit() returns trigger language plpgsql as $$
    begin
        raise exception 'an entry of the audit log is never changed';
    end
    $$
    """,
    "create trigger audit_stands before update or delete on chassis.audit for each row execute function chassis.keep_audit()",
    "create trigger audit_stays before truncate on chassis.audit for each statement execute function chassis.keep_audit()",
    """
    create function chassis.follow_audit() returns trigger language plpgsql as $$
    declare
        before record;
    begin
        select number, hash into before from chassis.audit order by number desc limit 1;
        if new.number <= coalesce(before.number, 0) or new.previous <> coalesce(before.hash, repeat('0', 64)) then
            raise exception 'an entry of the audit log follows the last one';
        end if;
        return new;
    end
    $$
    """,
    "create trigger audit_follows before insert on chassis.audit for each row execute function chassis.follow_audit()",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("drop table chassis.audit")
    op.execute("drop function chassis.keep_audit()")
    op.execute("drop function chassis.follow_audit()")
