"""The seller's letterhead, version by version, and offers as they were sent: neither is ever changed.

Of an offer only this is written later, once: when it was sent.
"""

from alembic import op

revision = "0020"
down_revision = "0019"

STATEMENTS = (
    """
    create table quoting.letterheads (
        version int primary key check (version > 0),
        document bytea not null,
        logo bytea,
        logo_info bytea,
        changed_at timestamptz not null,
        changed_by text not null,
        check ((logo is null) = (logo_info is null))
    )
    """,
    """
    create function quoting.keep_letterhead() returns trigger language plpgsql as $$
    begin
        raise exception 'a letterhead is never changed; a change makes the next version';
    end
    $$
    """,
    "create trigger letterheads_stand before update or delete on quoting.letterheads for each row execute function quoting.keep_letterhead()",
    "create sequence quoting.offer_numbers",
    """
    create table quoting.offers (
        id text primary key,
        position bigint not null unique,
        number text not null references quoting.quotes,
        quote_number text not null,
        revision int not null,
        made_at timestamptz not null,
        made_by text not null,
        sent_at timestamptz,
        send text not null check (send in ('mail', 'file')),
        recipients text[] not null,
        copies text[] not null,
        language text not null,
        paper text not null,
        pdf bytea not null,
        mail bytea not null,
        code_sha256 bytea not null unique,
        route_key text unique,
        body_sha256 bytea not null
    )
    """,
    "create index offers_of_quote on quoting.offers (quote_number, revision, sent_at)",
    "create index offers_sent on quoting.offers (sent_at) where sent_at is not null",
    """
    create function quoting.keep_offer() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' then
            raise exception 'an offer is never taken back';
        end if;
        if old.sent_at is not null or new.sent_at is null or to_jsonb(new) - 'sent_at' <> to_jsonb(old) - 'sent_at' then
            raise exception 'an offer is never changed';
        end if;
        return new;
    end
    $$
    """,
    "create trigger offers_stand before update or delete on quoting.offers for each row execute function quoting.keep_offer()",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("drop table quoting.offers")
    op.execute("drop function quoting.keep_offer()")
    op.execute("drop sequence quoting.offer_numbers")
    op.execute("drop table quoting.letterheads")
    op.execute("drop function quoting.keep_letterhead()")
