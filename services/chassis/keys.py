"""Keys of callers: `bw_<id>_<secret>`. Only a hash of the secret is stored; a key has one role and can be revoked."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, cast, get_args

from sqlalchemy import text

from services.chassis.database import Database

Role = Literal["sales", "erp", "engineer", "admin", "service"]
ROLES: tuple[str, ...] = get_args(Role)
KEPT_S = 5.0
"""Good keys are read anew after this long, so that a revoked one stops within it."""
MOST_KEPT = 10_000


@dataclass(frozen=True)
class Caller:
    """Who is asking."""

    key_id: str
    role: Role
    label: str


@dataclass(frozen=True)
class KeyRecord:
    """A key as an administrator sees it."""

    key_id: str
    role: Role
    label: str
    created_at: datetime
    revoked_at: datetime | None


def new_key() -> tuple[str, str]:
    """A fresh key: its id and the whole text to hand over, which is not kept anywhere."""
    key_id = secrets.token_hex(6)
    return key_id, f"bw_{key_id}_{secrets.token_urlsafe(32)}"


def hash_of(key: str) -> bytes:
    """SHA-256 of the whole key. The secret has 256 random bits, so no salt or slow hash is needed."""
    return hashlib.sha256(key.encode()).digest()


class Keys:
    """The keys of the deployment, in the chassis' own table."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, *, role: str, label: str, now: datetime, key: str | None = None) -> str:
        """Store a key (a new one unless given) and return it whole, for this one time."""
        if role not in ROLES:
            raise ValueError(f"there is no role {role}; the roles are {', '.join(ROLES)}")
        key_id, fresh = new_key()
        if key is not None:
            key_id, fresh = key.split("_")[1], key
        with self._database.transaction() as connection:
            connection.execute(
                text("insert into chassis.api_keys (id, hash, role, label, created_at) values (:id, :hash, :role, :label, :now) "
                     "on conflict (id) do nothing"),
                {"id": key_id, "hash": hash_of(fresh), "role": role, "label": label, "now": now},
            )  # fmt: skip
        return fresh

    def revoke(self, key_id: str, *, now: datetime) -> bool:
        """Stop a key from being good; whether there was one."""
        with self._database.transaction() as connection:
            done = connection.execute(
                text("update chassis.api_keys set revoked_at = :now where id = :id and revoked_at is null"),
                {"id": key_id, "now": now},
            )
        return done.rowcount == 1

    def listed(self) -> tuple[KeyRecord, ...]:
        """Every key, oldest first."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select id, role, label, created_at, revoked_at from chassis.api_keys order by created_at, id")
            )
            return tuple(KeyRecord(row.id, cast(Role, row.role), row.label, row.created_at, row.revoked_at) for row in rows)

    def ring(self) -> dict[bytes, Caller]:
        """Who holds each good key, by its hash; the newest when there are more than `MOST_KEPT`."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(
                    "select id, hash, role, label from chassis.api_keys where revoked_at is null order by created_at desc, id limit :most"
                ),
                {"most": MOST_KEPT},
            )
            return {bytes(row.hash): Caller(row.id, cast(Role, row.role), row.label) for row in rows}

    def caller(self, key: str) -> Caller | None:
        """Whose key that is, `None` for one that is not good."""
        parts = key.split("_", 2)
        if len(parts) != 3 or parts[0] != "bw" or not parts[1].isalnum() or len(key) > 200:
            return None
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select id, hash, role, label from chassis.api_keys where id = :id and revoked_at is null"), {"id": parts[1]}
            ).one_or_none()
        if row is None or not hmac.compare_digest(bytes(row.hash), hash_of(key)):
            return None
        return Caller(row.id, cast(Role, row.role), row.label)
