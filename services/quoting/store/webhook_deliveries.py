"""Deliveries to endpoints of webhooks in PostgreSQL: made from the feed, claimed for a while by whoever sends, and recorded.

An endpoint has one claim at a time, that of its oldest waiting delivery, so its messages go in order. A test goes before them, also to an
endpoint that is paused or waits.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.database import Database
from services.quoting.store.webhooks import A_DAY, host_of, try_at_once
from services.quoting.webhook_errors import DeliveryNotDead, DeliveryUnknown, WebhookUnknown
from shared_schemas.webhooks import DeliveryState, WebhookDelivery

TEST = "test"
AT_ONCE = 1000
LEASE = timedelta(seconds=60)
"""For so long a claim keeps others from the endpoint: longer than any message takes, so that only one whose process died is claimed again."""

COLUMNS = (
    "d.id, d.message_id, d.type, d.position as entry, d.epoch, d.state, d.attempts, d.created_at, d.give_up_at, d.last_tried_at, d.last_status, "
    "d.last_fault, d.settled_at"
)

DUE = """
    (e.leased_until is null or e.leased_until <= :now or e.leased_until > :latest) and exists (
        select 1 from quoting.webhook_deliveries d where d.endpoint = e.id and d.state = 'waiting'
        and (d.position is null or (e.paused_at is null and e.next_try_at <= :now)))
"""
"""Whether an endpoint has something to be sent and nobody who sends it. A lease that a clock set back moved into the future is none."""


@dataclass(frozen=True)
class Claim:
    """A message to be sent now, and by whom alone: `lease` names this claim. `document` and `at` are of the entry, of a test there is none."""

    lease: str
    endpoint: str
    url: str
    secrets: tuple[str, ...]
    delivery: int
    message_id: str
    type: str
    entry: int | None
    epoch: str | None
    number: str
    at: datetime
    document: bytes | None
    failures: int
    give_up_at: datetime


@dataclass(frozen=True)
class Verdict:
    """What becomes of a delivery and its endpoint. `next_try_at` is `None` where that of the endpoint stays as it is."""

    state: DeliveryState
    status: int | None
    fault: str | None
    failures: int
    next_try_at: datetime | None
    is_gone: bool = False


@dataclass(frozen=True)
class StandingOfWebhooks:
    """How deliveries stand, for metrics: dead ones, endpoints that answered 410, and the moment when the oldest that should go was made."""

    dead: int
    gone: int
    oldest_at: datetime | None


def standing_of_webhooks(database: Database) -> StandingOfWebhooks:
    """How deliveries stand at this moment."""
    with database.transaction() as connection:
        row = connection.execute(
            text("select (select count(*) from quoting.webhook_deliveries where state = 'dead') as dead, "
                 "(select count(*) from quoting.webhook_endpoints where paused_why = 'gone') as gone, "
                 "(select min(d.created_at) from quoting.webhook_deliveries d join quoting.webhook_endpoints e on e.id = d.endpoint "
                 "where d.state = 'waiting' and e.paused_at is null) as oldest_at")
        ).one()  # fmt: skip
        return StandingOfWebhooks(**row._mapping)


class Deliveries:
    """The deliveries of all endpoints."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def make(self, *, now: datetime) -> int:
        """Make a delivery of every entry that endpoints want and have not been given; how many. Those that are paused get theirs when they are resumed."""
        made = 0
        while True:
            with self._database.transaction() as connection:
                behind = connection.execute(
                    text("select id, position, types from quoting.webhook_endpoints where paused_at is null "
                         "and position < (select coalesce(max(position), 0) from quoting.feed_entries) for update skip locked")
                ).all()  # fmt: skip
                made += sum(_make(connection, row, now) for row in behind)
            if not behind:
                return made

    def is_due(self, *, now: datetime) -> bool:
        """Whether there is anything to be claimed."""
        with self._database.transaction() as connection:
            due = connection.execute(
                text(f"select exists (select 1 from quoting.webhook_endpoints e where {DUE})"),  # nosec B608  a text of this module
                {"now": now, "latest": now + LEASE},
            )
            return bool(due.scalar_one())

    def claim(self, *, now: datetime) -> Claim | None:
        """What is to be sent next, claimed; `None` where nothing is due that nobody else sends."""
        lease = secrets.token_hex(8)
        with self._database.transaction() as connection:
            endpoint = connection.execute(
                text(f"select e.id, e.url, e.failures from quoting.webhook_endpoints e where {DUE} "  # nosec B608  a text of this module
                     "order by e.next_try_at, e.id limit 1 for update of e skip locked"),
                {"now": now, "latest": now + LEASE},
            ).first()  # fmt: skip
            if endpoint is None:
                return None
            connection.execute(
                text("update quoting.webhook_endpoints set lease = :lease, leased_until = :until where id = :id"),
                {"id": endpoint.id, "lease": lease, "until": now + LEASE},
            )
            return _claimed(connection, endpoint, lease, now)

    def record(self, claim: Claim, verdict: Verdict, *, now: datetime) -> None:
        """Write down what became of a claim and let go of the endpoint. Of a claim that somebody else has taken over only counts that it was delivered."""
        with self._database.transaction() as connection:
            ours = connection.execute(
                text("update quoting.webhook_endpoints set lease = null, leased_until = null where id = :id and lease = :lease"),
                {"id": claim.endpoint, "lease": claim.lease},
            ).rowcount
            if not ours and verdict.state != "delivered":
                return
            connection.execute(
                text("update quoting.webhook_deliveries set state = :state, attempts = attempts + 1, last_tried_at = :now, last_status = :status, "
                     "last_fault = :fault, settled_at = case when :state = 'waiting' then null else :now end where id = :id and state = 'waiting'"),
                {"id": claim.delivery, "state": verdict.state, "now": now, "status": verdict.status, "fault": verdict.fault},
            )  # fmt: skip
            if ours:
                _settle_endpoint(connection, claim, verdict, now)

    def add_test(self, endpoint: str, *, now: datetime) -> WebhookDelivery:
        """Have a message sent that tells of nothing, once; raises `WebhookUnknown`."""
        with self._database.transaction() as connection:
            _refuse_unknown(connection, endpoint)
            row = connection.execute(
                text("insert into quoting.webhook_deliveries as d (endpoint, message_id, type, created_at, give_up_at) "
                     f"values (:endpoint, :message, '{TEST}', :now, :now) returning {COLUMNS}"),  # nosec B608  columns of ours
                {"endpoint": endpoint, "message": f"test-{secrets.token_hex(8)}", "now": now},
            ).one()  # fmt: skip
            return WebhookDelivery(**row._mapping)

    def page(self, endpoint: str, *, before: int | None, most: int, state: DeliveryState | None) -> list[WebhookDelivery]:
        """Deliveries to an endpoint newest first, from below the number `before`; raises `WebhookUnknown`."""
        with self._database.transaction() as connection:
            _refuse_unknown(connection, endpoint)
            rows = connection.execute(
                text(f"select {COLUMNS} from quoting.webhook_deliveries d where d.endpoint = :endpoint "  # nosec B608  columns of ours
                     "and (cast(:before as bigint) is null or d.id < :before) and (cast(:state as text) is null or d.state = :state) "
                     "order by d.id desc limit :most"),
                {"endpoint": endpoint, "before": before, "state": state, "most": most},
            )  # fmt: skip
            return [WebhookDelivery(**row._mapping) for row in rows]

    def one(self, endpoint: str, delivery: int) -> WebhookDelivery:
        """One delivery; raises `WebhookUnknown`, `DeliveryUnknown`."""
        with self._database.transaction() as connection:
            _refuse_unknown(connection, endpoint)
            return _one(connection, endpoint, delivery)

    def replay(self, endpoint: str, delivery: int, *, now: datetime) -> WebhookDelivery:
        """Try a dead delivery anew, for a day; raises `WebhookUnknown`, `DeliveryUnknown`, and `DeliveryNotDead` for any other."""
        with self._database.transaction() as connection:
            _refuse_unknown(connection, endpoint)
            if not _replay(connection, endpoint, "d.id = :only", {"only": delivery}, now):
                raise DeliveryNotDead(delivery, _one(connection, endpoint, delivery).state)
            audit.record(connection, action="webhook.replay", subject=f"webhook {endpoint}", at=now, details={"delivery": delivery})
            return _one(connection, endpoint, delivery)

    def replay_since(self, endpoint: str, since: datetime | None, *, now: datetime) -> int:
        """Try every dead delivery anew that was made from a moment on, for a day; how many. Raises `WebhookUnknown`."""
        with self._database.transaction() as connection:
            _refuse_unknown(connection, endpoint)
            condition = "(cast(:since as timestamptz) is null or d.created_at >= :since)"
            replayed = _replay(connection, endpoint, condition, {"since": since}, now)
            if replayed:
                audit.record(
                    connection, action="webhook.replay", subject=f"webhook {endpoint}", at=now, details={"deliveries": replayed}
                )
            return replayed


def _make(connection: Connection, endpoint: Any, now: datetime) -> int:
    """Deliveries of the next entries of the feed, whether wanted or not; how many are."""
    upto = connection.execute(
        text("select max(position) from (select position from quoting.feed_entries where position > :after order by position limit :most) next"),
        {"after": endpoint.position, "most": AT_ONCE},
    ).scalar_one()  # fmt: skip
    made = connection.execute(
        text("insert into quoting.webhook_deliveries (endpoint, message_id, type, position, epoch, created_at, give_up_at) "
             "select :endpoint, f.epoch || '-' || f.position, f.type, f.position, f.epoch, :now, :until from quoting.feed_entries f "
             "where f.position > :after and f.position <= :upto and (cardinality(cast(:types as text[])) = 0 or f.type = any(cast(:types as text[]))) "
             "order by f.position"),
        {"endpoint": endpoint.id, "after": endpoint.position, "upto": upto, "types": endpoint.types, "now": now, "until": now + A_DAY},
    ).rowcount  # fmt: skip
    connection.execute(
        text("update quoting.webhook_endpoints set position = :upto where id = :id"), {"id": endpoint.id, "upto": upto}
    )
    return made


def _claimed(connection: Connection, endpoint: Any, lease: str, now: datetime) -> Claim:
    row = connection.execute(
        text("select d.id, d.message_id, d.type, d.position, d.epoch, d.created_at, d.give_up_at, f.at, f.number, f.document "
             "from quoting.webhook_deliveries d left join quoting.feed_entries f on f.position = d.position "
             "where d.endpoint = :id and d.state = 'waiting' order by (d.position is not null), d.id limit 1"),
        {"id": endpoint.id},
    ).one()  # fmt: skip
    good = connection.execute(
        text("select secret from quoting.webhook_secrets where endpoint = :id and (good_until is null or good_until > :now) order by made_at desc"),
        {"id": endpoint.id, "now": now},
    ).scalars()  # fmt: skip
    return Claim(
        lease=lease,
        endpoint=endpoint.id,
        url=endpoint.url,
        secrets=tuple(good),
        delivery=row.id,
        message_id=row.message_id,
        type=row.type,
        entry=row.position,
        epoch=row.epoch,
        number="E" + row.number.removeprefix("Q") if row.number else endpoint.id,
        at=row.at or row.created_at,
        document=None if row.document is None else bytes(row.document),
        failures=endpoint.failures,
        give_up_at=row.give_up_at,
    )


def _settle_endpoint(connection: Connection, claim: Claim, verdict: Verdict, now: datetime) -> None:
    if verdict.next_try_at is not None:
        connection.execute(
            text("update quoting.webhook_endpoints set failures = :failures, next_try_at = :next where id = :id"),
            {"id": claim.endpoint, "failures": verdict.failures, "next": verdict.next_try_at},
        )
    if verdict.is_gone:
        paused = connection.execute(
            text("update quoting.webhook_endpoints set paused_at = :now, paused_why = 'gone' where id = :id and paused_at is null"),
            {"id": claim.endpoint, "now": now},
        ).rowcount  # fmt: skip
        if paused:
            told = {"host": host_of(claim.url), "why": "gone"}
            audit.record(connection, action="webhook.pause", subject=f"webhook {claim.endpoint}", at=now, details=told)


def _replay(connection: Connection, endpoint: str, condition: str, given: dict[str, Any], now: datetime) -> int:
    replayed = connection.execute(
        text("update quoting.webhook_deliveries d set state = 'waiting', settled_at = null, give_up_at = :until "
             f"where d.endpoint = :endpoint and d.state = 'dead' and {condition}"),  # nosec B608  a text of this module
        {"endpoint": endpoint, "until": now + A_DAY, **given},
    ).rowcount  # fmt: skip
    if replayed:
        try_at_once(connection, endpoint, now)
    return replayed


def _one(connection: Connection, endpoint: str, delivery: int) -> WebhookDelivery:
    row = connection.execute(
        text(f"select {COLUMNS} from quoting.webhook_deliveries d where d.endpoint = :endpoint and d.id = :id"),  # nosec B608  columns of ours
        {"endpoint": endpoint, "id": delivery},
    ).one_or_none()
    if row is None:
        raise DeliveryUnknown(endpoint, delivery)
    return WebhookDelivery(**row._mapping)


def _refuse_unknown(connection: Connection, endpoint: str) -> None:
    if connection.execute(text("select 1 from quoting.webhook_endpoints where id = :id"), {"id": endpoint}).scalar() is None:
        raise WebhookUnknown(endpoint)
