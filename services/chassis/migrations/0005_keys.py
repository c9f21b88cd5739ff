"""Keys that end, are narrower than their role, or take the place of another; and when each was last used."""

from alembic import op

revision = "0005"
down_revision = "0004"

STATEMENTS = (
    """
    alter table chassis.api_keys
        add column scopes text[] not null default '{}',
        add column expires_at timestamptz,
        add column rotated_from text references chassis.api_keys
    """,
    """
    create table chassis.key_uses (
        key_id text primary key references chassis.api_keys,
        at timestamptz not null
    )
    """,
    """
    create function chassis.guard_keys() returns trigger language plpgsql as $$
    begin
        if tg_op = 'DELETE' then
            raise exception 'a key is revoked, never deleted';
        end if;
        if tg_op = 'INSERT' then
            if new.role = 'service' and not pg_has_role(current_user, (select relowner from pg_class where oid = tg_relid), 'USAGE') then
                raise exception 'only the owner of the tables makes keys of the suite itself';
            end if;
            return new;
        end if;
        if (new.id, new.hash, new.role, new.label, new.created_at, new.scopes, new.rotated_from)
                is distinct from (old.id, old.hash, old.role, old.label, old.created_at, old.scopes, old.rotated_from) then
            raise exception 'what a key may do is never changed; make another';
        end if;
        if old.revoked_at is not null and new.revoked_at is distinct from old.revoked_at then
            raise exception 'a revoked key stays revoked';
        end if;
        if coalesce(new.expires_at, 'infinity') > coalesce(old.expires_at, 'infinity') then
            raise exception 'a key is never good for longer than it was made for';
        end if;
        return new;
    end
    $$
    """,
    "create trigger keys_stand before insert or update or delete on chassis.api_keys for each row execute function chassis.guard_keys()",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)


def downgrade() -> None:
    op.execute("drop trigger keys_stand on chassis.api_keys")
    op.execute("drop function chassis.guard_keys()")
    op.execute("drop table chassis.key_uses")
    op.execute("alter table chassis.api_keys drop column scopes, drop column expires_at, drop column rotated_from")
