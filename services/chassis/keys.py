"""Keys of callers: `bw_<id>_<secret>`. Only a hash of the secret is stored; a key has one role and can be revoked.

What a key may do is never changed. A key ends when it is revoked or has expired; another may take its place before that (`rotate`).
Every change stands in the audit log.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Literal, cast, get_args

from sqlalchemy import Connection, text

from services.chassis import audit, key_faults, scopes
from services.chassis.database import Database
from shared_schemas.audit import moment

Role = Literal["sales", "erp", "engineer", "admin", "service"]
ROLES: tuple[str, ...] = get_args(Role)
KEPT_S = 5.0
"""Good keys are read anew after this long, so that a revoked one stops within it."""
MOST_KEPT = 10_000


@dataclass(frozen=True)
class Caller:
    """Who is asking. `scopes` are what the key may do less than its role, `expires_at` until when it is good."""

    key_id: str
    role: Role
    label: str
    scopes: tuple[str, ...] = ()
    expires_at: datetime | None = None

    def is_over(self, now: datetime) -> bool:
        """Whether the key has expired."""
        return self.expires_at is not None and self.expires_at <= now


@dataclass(frozen=True)
class KeyRecord:
    """A key as an administrator sees it."""

    key_id: str
    role: Role
    label: str
    created_at: datetime
    revoked_at: datetime | None
    scopes: tuple[str, ...] = ()
    expires_at: datetime | None = None
    rotated_from: str | None = None
    last_used_at: datetime | None = None

    def is_good(self, now: datetime) -> bool:
        """Whether the key is neither revoked nor expired."""
        return self.revoked_at is None and (self.expires_at is None or self.expires_at > now)

    def outlasts(self, other: KeyRecord) -> bool:
        """Whether this key is good for at least as long as another."""
        return self.expires_at is None or (other.expires_at is not None and self.expires_at >= other.expires_at)


def new_key() -> tuple[str, str]:
    """A fresh key: its id and the whole text to hand over, which is not kept anywhere."""
    key_id = secrets.token_hex(6)
    return key_id, f"bw_{key_id}_{secrets.token_urlsafe(32)}"


def hash_of(key: str) -> bytes:
    """SHA-256 of the whole key. The secret has 256 random bits, so no salt or slow hash is needed."""
    return hashlib.sha256(key.encode()).digest()


RECORD = """
    select k.id, k.role, k.label, k.created_at, k.revoked_at, k.scopes, k.expires_at, k.rotated_from, u.at as last_used_at
    from chassis.api_keys k left join chassis.key_uses u on u.key_id = k.id
"""


class Keys:
    """The keys of the deployment, in the chassis' own table.

    `by` says in the audit log who makes and revokes keys where no key asks for it.
    """

    def __init__(self, database: Database, *, by: str | None = None) -> None:
        self._database = database
        self._by = by

    def add(
        self, *, role: str, label: str, now: datetime, key: str | None = None, only: Sequence[str] = (),
        expires_at: datetime | None = None,
    ) -> str:  # fmt: skip
        """Store a key (a new one unless given) and return it whole, for this one time. `only` are its scopes.

        Raises `ScopesCannotBe` for scopes that the role cannot have, `ExpiryCannotBe` for one that is over.
        """
        if role not in ROLES:
            raise ValueError(f"there is no role {role}; the roles are {', '.join(ROLES)}")
        if expires_at is not None and expires_at <= now:
            raise key_faults.ExpiryCannotBe(expires_at, f"later than now, {now:%Y-%m-%d %H:%M} UTC")
        with self._database.transaction() as connection:
            return self._insert(connection, role, label, scopes.checked(role, only), expires_at, now=now, key=key)

    def _insert(
        self, connection: Connection, role: str, label: str, only: tuple[str, ...], expires_at: datetime | None, *, now: datetime,
        key: str | None = None, rotated_from: str | None = None,
    ) -> str:  # fmt: skip
        key_id, fresh = new_key()
        if key is not None:
            key_id, fresh = key.split("_")[1], key
        done = connection.execute(
            text("insert into chassis.api_keys (id, hash, role, label, created_at, scopes, expires_at, rotated_from) "
                 "values (:id, :hash, :role, :label, :now, :scopes, :expires_at, :rotated_from) on conflict (id) do nothing"),
            {"id": key_id, "hash": hash_of(fresh), "role": role, "label": label, "now": now, "scopes": list(only),
             "expires_at": expires_at, "rotated_from": rotated_from},
        )  # fmt: skip
        if done.rowcount == 1:
            said = {"role": role, "label": label, "scopes": only, "expires_at": expires_at and moment(expires_at)}
            said |= {"rotated_from": rotated_from} if rotated_from else {}
            self._audit(connection, "key.make", key_id, now, said)
        return fresh

    def rotate(
        self, key_id: str, *, overlap_h: int, now: datetime, expires_at: datetime | None = None, of_suite: bool = False
    ) -> str:
        """Make a key that takes the place of another; the old one is good for `overlap_h` hours more, or as long as it was. The new key, whole.

        The new one ends when the old one would have, unless told. Raises `KeyUnknown`, `KeyHasEnded`, `KeyOfTheSuite`, `ExpiryCannotBe`.
        """
        with self._database.transaction() as connection:
            audit.lock(connection)
            old = self._record(connection, key_id)
            if old.role == "service" and not of_suite:
                raise key_faults.KeyOfTheSuite(key_id)
            if not old.is_good(now):
                raise key_faults.KeyHasEnded(key_id)
            ends = expires_at or old.expires_at
            if ends is not None and ends <= now:
                raise key_faults.ExpiryCannotBe(ends, f"later than now, {now:%Y-%m-%d %H:%M} UTC")
            fresh = self._insert(connection, old.role, old.label, old.scopes, ends, now=now, rotated_from=key_id)
            until = min(filter(None, (now + timedelta(hours=overlap_h), old.expires_at)))
            connection.execute(
                text("update chassis.api_keys set expires_at = :until where id = :id"), {"until": until, "id": key_id}
            )
            self._audit(connection, "key.rotate", key_id, now, {"to": fresh.split("_")[1], "good_until": moment(until)})
        return fresh

    def revoke(self, key_id: str, *, now: datetime, of_suite: bool = True) -> bool:
        """Stop a key from being good; whether there was one that was not revoked.

        Raises `LastAdminKey` for the administrator's key that no other outlasts, and without `of_suite` `KeyOfTheSuite`.
        """
        with self._database.transaction() as connection:
            audit.lock(connection)
            try:
                old = self._record(connection, key_id)
            except key_faults.KeyUnknown:
                return False
            if old.role == "service" and not of_suite:
                raise key_faults.KeyOfTheSuite(key_id)
            if old.revoked_at is not None:
                return False
            if old.is_good(now) and _is_full_admin(old) and not self._others_like(connection, old, now):
                raise key_faults.LastAdminKey(key_id)
            connection.execute(text("update chassis.api_keys set revoked_at = :now where id = :id"), {"id": key_id, "now": now})
            self._audit(connection, "key.revoke", key_id, now, {"role": old.role, "label": old.label})
        return True

    def _others_like(self, connection: Connection, old: KeyRecord, now: datetime) -> bool:
        rows = connection.execute(text(f"{RECORD} where k.role = 'admin' and k.id <> :id"), {"id": old.key_id})
        return any(_is_full_admin(one) and one.is_good(now) and one.outlasts(old) for one in map(_known, rows))

    def _audit(self, connection: Connection, action: str, key_id: str, now: datetime, details: dict[str, Any]) -> None:
        by = None if audit.asking.get() is not None else self._by
        audit.record(connection, action=action, subject=f"key {key_id}", at=now, details=details, by=by)

    def record(self, key_id: str) -> KeyRecord:
        """One key; raises `KeyUnknown`."""
        with self._database.transaction() as connection:
            return self._record(connection, key_id)

    def _record(self, connection: Connection, key_id: str) -> KeyRecord:
        row = connection.execute(text(f"{RECORD} where k.id = :id"), {"id": key_id}).one_or_none()
        if row is None:
            raise key_faults.KeyUnknown(key_id)
        return _known(row)

    def listed(self) -> tuple[KeyRecord, ...]:
        """Every key, oldest first."""
        with self._database.transaction() as connection:
            return tuple(map(_known, connection.execute(text(f"{RECORD} order by k.created_at, k.id"))))

    def page(self, *, before: str | None, most: int) -> list[KeyRecord]:
        """Keys newest first, those made before the key `before`; raises `KeyUnknown` for that."""
        with self._database.transaction() as connection:
            if before is not None:
                self._record(connection, before)
            rows = connection.execute(
                text(f"{RECORD} where cast(:before as text) is null or (k.created_at, k.id) < "  # nosec B608  a text of ours
                     "(select b.created_at, b.id from chassis.api_keys b where b.id = :before) order by k.created_at desc, k.id desc limit :most"),
                {"before": before, "most": most},
            )  # fmt: skip
            return list(map(_known, rows))

    def note_uses(self, uses: Mapping[str, datetime]) -> None:
        """Note when keys were last used; a time within a minute of what is known is left as it is."""
        with self._database.transaction() as connection:
            connection.execute(
                text("insert into chassis.key_uses (key_id, at) select k.id, :at from chassis.api_keys k where k.id = :id "
                     "on conflict (key_id) do update set at = excluded.at where key_uses.at < excluded.at - interval '1 minute'"),
                [{"id": key_id, "at": at} for key_id, at in sorted(uses.items())],
            )  # fmt: skip

    def ring(self) -> dict[bytes, Caller]:
        """Who holds each good key, by its hash; the newest when there are more than `MOST_KEPT`."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select id, hash, role, label, scopes, expires_at from chassis.api_keys where revoked_at is null "
                     "and (expires_at is null or expires_at > now()) order by created_at desc, id limit :most"),
                {"most": MOST_KEPT},
            )  # fmt: skip
            return {bytes(row.hash): _caller(row) for row in rows}

    def caller(self, key: str) -> Caller | None:
        """Whose key that is, `None` for one that is not good."""
        parts = key.split("_", 2)
        if len(parts) != 3 or parts[0] != "bw" or not parts[1].isalnum() or len(key) > 200:
            return None
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select id, hash, role, label, scopes, expires_at from chassis.api_keys where id = :id and revoked_at is null "
                     "and (expires_at is null or expires_at > now())"),
                {"id": parts[1]},
            ).one_or_none()  # fmt: skip
        if row is None or not hmac.compare_digest(bytes(row.hash), hash_of(key)):
            return None
        return _caller(row)


def _is_full_admin(record: KeyRecord) -> bool:
    return record.role == "admin" and not record.scopes


def _caller(row: Any) -> Caller:
    return Caller(row.id, cast(Role, row.role), row.label, tuple(row.scopes), row.expires_at)


def _known(row: Any) -> KeyRecord:
    known = dict(row._mapping)
    return replace(KeyRecord(known.pop("id"), **known), scopes=tuple(row.scopes))
