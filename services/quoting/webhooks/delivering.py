"""All of a delivery: new entries become deliveries, each is claimed, signed, sent and recorded, by a few at once so that none waits behind a slow one."""

from __future__ import annotations

import json
import logging
import secrets
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from services.chassis.resources import Resources
from services.quoting.store.webhook_deliveries import TEST, Claim, Deliveries, Verdict
from services.quoting.store.webhooks import host_of
from services.quoting.webhooks.envelope import CONTENT_TYPE, TEST_TYPE, Envelope, entry_link, source_of, type_of
from services.quoting.webhooks.schedule import LONGEST_WAIT, next_try, retry_after
from services.quoting.webhooks.sending import GONE, Answer, HttpSender, Sender
from services.quoting.webhooks.signing import signed_headers
from services.quoting.webhooks.targets import guard_of

log = logging.getLogger(__name__)

MOST_AT_ONCE = 4
"""Endpoints that are sent to at one time."""
WORKS_FOR_S = 10.0
"""How long one run goes on claiming. With the time of the last message it ends well before the limit of a task; the next run goes on."""


def now_utc() -> datetime:
    """This moment."""
    return datetime.now(UTC)


def evenly_drawn() -> float:
    """A number from 0 to 1, by chance."""
    return secrets.randbelow(10**6) / 10**6


@dataclass(frozen=True)
class Deliverer:
    """Delivers what is due. `source` is the feed as messages name it."""

    store: Deliveries
    send: Sender
    source: str
    now: Callable[[], datetime] = now_utc
    chance: Callable[[], float] = evenly_drawn

    def deliver_one(self) -> bool:
        """Send one message and record what became of it; whether there was one. Whatever it raises, the message is sent again when its lease is over."""
        claim = self.store.claim(now=self.now())
        if claim is None:
            return False
        body = body_of(claim, self.source)
        headers = signed_headers(claim.secrets, message_id=claim.message_id, at=self.now(), body=body)
        answer = self.send(claim.url, {"Content-Type": CONTENT_TYPE, **headers}, body)
        at = self.now()
        verdict = verdict_on(claim, answer, now=at, chance=self.chance())
        self.store.record(claim, verdict, now=at)
        if not answer.is_taken:
            log.warning(
                "webhook not taken",
                extra={"endpoint": claim.endpoint, "host": host_of(claim.url), "webhook_id": claim.message_id, "status": answer.status,
                       "fault": answer.fault, "state": verdict.state},
            )  # fmt: skip
        return True

    def work(self, *, for_s: float, clock: Callable[[], float] = time.monotonic) -> int:
        """Deliver until nothing is due or the time is over; how many messages were sent."""
        ends_at, sent = clock() + for_s, 0
        while clock() < ends_at and self.deliver_one():
            sent += 1
        return sent


def body_of(claim: Claim, source: str) -> bytes:
    """The body of a message, the same however often it is sent."""
    if claim.document is None or claim.entry is None or claim.epoch is None:
        about = json.dumps({"endpoint": claim.endpoint, "message": "A test, asked for by hand. Nothing has happened."}).encode()
        return Envelope(claim.message_id, source, TEST_TYPE, claim.at, claim.endpoint).around(about)
    link = entry_link(claim.epoch, claim.entry)
    return Envelope(claim.message_id, source, type_of(claim.type), claim.at, claim.number, link).around(claim.document)


def verdict_on(claim: Claim, answer: Answer, *, now: datetime, chance: float) -> Verdict:
    """What an answer means for the delivery and its endpoint.

    A test is tried once. 410 pauses the endpoint, and its deliveries wait. After its day a delivery is dead, and the next is tried at once: what
    follows is not given up on for what went before.
    """
    status, fault = answer.status, answer.fault
    if answer.is_taken:
        return Verdict("delivered", status, fault, failures=0, next_try_at=now)
    if claim.type == TEST:
        return Verdict("failed", status, fault, failures=claim.failures, next_try_at=None)
    if status == GONE:
        return Verdict("waiting", status, fault, failures=claim.failures + 1, next_try_at=now, is_gone=True)
    failures, asked_to_wait = claim.failures + 1, retry_after(answer.retry_after, now=now)
    if now >= claim.give_up_at:
        return Verdict("dead", status, fault, failures=failures, next_try_at=now + min(asked_to_wait or timedelta(0), LONGEST_WAIT))
    due = next_try(failures=failures, chance=chance, asked_to_wait=asked_to_wait, now=now, give_up_at=claim.give_up_at)
    return Verdict("waiting", status, fault, failures=failures, next_try_at=due)


def deliver(resources: Resources) -> None:
    """Tell endpoints of what happened since the last run, and again what they have not taken."""
    store = Deliveries(resources.database)
    made = store.make(now=now_utc())
    if not store.is_due(now=now_utc()):
        return
    deliverer = Deliverer(store, HttpSender(guard_of(resources.settings)), source_of(resources.settings.deployment))
    with ThreadPoolExecutor(MOST_AT_ONCE, thread_name_prefix="webhooks") as threads:
        each = [threads.submit(deliverer.work, for_s=WORKS_FOR_S) for _ in range(MOST_AT_ONCE)]
        sent = sum(one.result() for one in each)
    log.info("webhooks sent", extra={"made": made, "sent": sent})
