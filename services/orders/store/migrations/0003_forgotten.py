"""Snapshots of the book that no quote can be dated by any more may be forgotten, by who says so for the transaction; never the newest.

A snapshot stays for sixty days whatever the settings say: longer than quotes are valid.
"""

from alembic import op

revision = "0003"
down_revision = "0002"

BEFORE = """
    create or replace function orders.refuse_change() returns trigger language plpgsql as $$
    begin
        raise exception 'a snapshot of the book is never changed; publish the next one';
    end
    $$
"""

AFTER = """
    create or replace function orders.refuse_change() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' and current_setting('orders.forgetting', true) = 'on'
                and old.made_at < now() - interval '60 days' and old.number < (select max(number) from orders.snapshots) then
            return old;
        end if;
        raise exception 'a snapshot of the book is never changed; publish the next one';
    end
    $$
"""


def upgrade() -> None:
    op.execute(AFTER)


def downgrade() -> None:
    op.execute(BEFORE)
