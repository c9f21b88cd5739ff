"""Endpoints of webhooks and their secrets in PostgreSQL. Every change of one stands in the audit log, by its host alone: addresses may hold secrets."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.database import Database
from services.quoting.webhook_errors import WebhooksEnough, WebhookUnknown
from shared_schemas.audit import moment
from shared_schemas.webhooks import WebhookInfo

A_DAY = timedelta(days=1)
"""For how long a delivery is tried."""

INFO = """
    select e.id, e.url, e.types, e.description, e.created_at, e.created_by, e.paused_at, e.paused_why, e.failures, e.next_try_at,
        (select count(*) from quoting.webhook_secrets s where s.endpoint = e.id and (s.good_until is null or s.good_until > :now)) as secrets,
        (select count(*) from quoting.webhook_deliveries d where d.endpoint = e.id and d.state = 'waiting') as waiting,
        (select count(*) from quoting.webhook_deliveries d where d.endpoint = e.id and d.state = 'dead') as dead
    from quoting.webhook_endpoints e
"""


@dataclass(frozen=True)
class NewEndpoint:
    """An endpoint to be told of what happens from now on."""

    id: str
    url: str
    types: tuple[str, ...]
    description: str


class Webhooks:
    """The endpoints."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def every(self, *, now: datetime) -> tuple[WebhookInfo, ...]:
        """All endpoints, oldest first."""
        with self._database.transaction() as connection:
            rows = connection.execute(text(f"{INFO} order by e.created_at, e.id"), {"now": now})
            return tuple(map(_info, rows))

    def one(self, endpoint: str, *, now: datetime) -> WebhookInfo:
        """One endpoint; raises `WebhookUnknown`."""
        with self._database.transaction() as connection:
            return _one(connection, endpoint, now)

    def add(self, new: NewEndpoint, secret: str, *, by: str, now: datetime, most: int) -> WebhookInfo:
        """Make an endpoint that is told of every entry after the last there is; raises `WebhooksEnough` when there are `most`."""
        with self._database.transaction() as connection:
            audit.lock(connection)
            if connection.execute(text("select count(*) from quoting.webhook_endpoints")).scalar_one() >= most:
                raise WebhooksEnough(most)
            connection.execute(
                text("insert into quoting.webhook_endpoints (id, url, types, description, created_at, created_by, position, next_try_at) "
                     "values (:id, :url, :types, :description, :now, :by, "
                     "(select coalesce(max(position), 0) from quoting.feed_entries), :now)"),
                {**vars(new), "types": list(new.types), "by": by, "now": now},
            )  # fmt: skip
            _add_secret(connection, new.id, secret, now)
            _record(connection, "webhook.make", new.id, now, {"host": host_of(new.url), "types": list(new.types)})
            return _one(connection, new.id, now)

    def change(self, endpoint: str, changes: dict[str, Any], *, now: datetime) -> WebhookInfo:
        """Change `url`, `types`, `description` or `paused`; raises `WebhookUnknown`.

        One that is resumed or lies elsewhere now is tried at once, and what waits for it has a day from now.
        """
        with self._database.transaction() as connection:
            before = _locked(connection, endpoint, now)
            known = before.model_dump() | {name: value for name, value in changes.items() if name != "paused"}
            paused = changes.get("paused", before.paused_at is not None)
            if not paused:
                known |= {"paused_at": None, "paused_why": None}
            elif before.paused_at is None:
                known |= {"paused_at": now, "paused_why": "asked"}
            anew = (before.paused_at is not None and not paused) or known["url"] != before.url
            connection.execute(
                text("update quoting.webhook_endpoints set url = :url, types = :types, description = :description, paused_at = :paused_at, "
                     "paused_why = :paused_why where id = :id"),
                {**known, "types": list(known["types"])},
            )  # fmt: skip
            if anew:
                try_at_once(connection, endpoint, now)
                connection.execute(
                    text("update quoting.webhook_deliveries set give_up_at = :until where endpoint = :id and state = 'waiting'"),
                    {"id": endpoint, "until": now + A_DAY},
                )
            told = {"host": host_of(known["url"]), "types": list(known["types"]), "paused": paused}
            _record(connection, "webhook.change", endpoint, now, told)
            return _one(connection, endpoint, now)

    def rotate(self, endpoint: str, secret: str, *, overlap_h: int, now: datetime) -> WebhookInfo:
        """Let another secret sign; those of before sign beside it for `overlap_h` hours, or as long as they would have. Raises `WebhookUnknown`."""
        until = now + timedelta(hours=overlap_h)
        with self._database.transaction() as connection:
            _locked(connection, endpoint, now)
            connection.execute(
                text("update quoting.webhook_secrets set good_until = least(good_until, :until) where endpoint = :id"),
                {"id": endpoint, "until": until},
            )
            connection.execute(
                text("delete from quoting.webhook_secrets where endpoint = :id and good_until <= :now"),
                {"id": endpoint, "now": now},
            )
            _add_secret(connection, endpoint, secret, now)
            _record(connection, "webhook.rotate", endpoint, now, {"good_until": moment(until)})
            return _one(connection, endpoint, now)

    def remove(self, endpoint: str, *, now: datetime) -> WebhookInfo:
        """Forget an endpoint, its secrets and its deliveries; the endpoint as it was. Raises `WebhookUnknown`."""
        with self._database.transaction() as connection:
            before = _locked(connection, endpoint, now)
            connection.execute(text("delete from quoting.webhook_endpoints where id = :id"), {"id": endpoint})
            told = {"host": host_of(before.url), "waiting": before.waiting, "dead": before.dead}
            _record(connection, "webhook.remove", endpoint, now, told)
            return before


def try_at_once(connection: Connection, endpoint: str, now: datetime) -> None:
    """Let the next try of an endpoint be now, as though it had never failed."""
    connection.execute(
        text("update quoting.webhook_endpoints set failures = 0, next_try_at = :now where id = :id"), {"id": endpoint, "now": now}
    )


def _add_secret(connection: Connection, endpoint: str, secret: str, now: datetime) -> None:
    connection.execute(
        text("insert into quoting.webhook_secrets (endpoint, secret, made_at) values (:id, :secret, :now)"),
        {"id": endpoint, "secret": secret, "now": now},
    )


def _locked(connection: Connection, endpoint: str, now: datetime) -> WebhookInfo:
    connection.execute(text("select 1 from quoting.webhook_endpoints where id = :id for update"), {"id": endpoint})
    return _one(connection, endpoint, now)


def _one(connection: Connection, endpoint: str, now: datetime) -> WebhookInfo:
    row = connection.execute(text(f"{INFO} where e.id = :id"), {"id": endpoint, "now": now}).one_or_none()
    if row is None:
        raise WebhookUnknown(endpoint)
    return _info(row)


def _info(row: Any) -> WebhookInfo:
    return WebhookInfo(**{**row._mapping, "types": tuple(row.types)})


def _record(connection: Connection, action: str, endpoint: str, now: datetime, details: dict[str, Any]) -> None:
    audit.record(connection, action=action, subject=f"webhook {endpoint}", at=now, details=details)


def host_of(url: str) -> str:
    """The host of an address, and nothing else of it."""
    return urlsplit(url).hostname or ""
