"""Offers as they were sent, in PostgreSQL: PDF and mail byte for byte, never changed.

`quoting.offers` has a row for each offer that was made: `id` (`O-2026-000012`), `number` (the row of `quoting.quotes` that it is of), `quote_number` and
`revision` (what people call that), `made_at`, `made_by` (key), `send` (`mail` or `file`), `recipients` and `copies` (text[]), and `sent_at`. An offer counts
as sent when `sent_at` is not null: a mail when it was handed over, a file when it was made. A quote waits for an answer where a row of its latest
revision has `sent_at` and the revision has no decision:

    select quote_number, revision, max(sent_at) as sent_at from quoting.offers where sent_at is not null group by quote_number, revision

Of the code by which the customer answers only the SHA-256 is a column; the code itself stands in the PDF and the mail that went out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.database import Database
from services.quoting.offer_errors import OfferUnknown
from services.quoting.store.runs import note_event


@dataclass(frozen=True)
class StoredOffer:
    """An offer. `route_key` is the caller's own name for the request, with his key; `body_sha256` is of what he asked."""

    id: str
    number: str
    quote_number: str
    revision: int
    made_at: datetime
    made_by: str
    sent_at: datetime | None
    send: str
    recipients: tuple[str, ...]
    copies: tuple[str, ...]
    language: str
    paper: str
    pdf: bytes
    mail: bytes
    code_sha256: bytes
    route_key: str | None
    body_sha256: bytes


COLUMNS = ", ".join(column.name for column in fields(StoredOffer))


class OfferStore:
    """What was sent to customers."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def next_id(self, year: int) -> tuple[str, int]:
        """What the next offer is called, and its position."""
        with self._database.transaction() as connection:
            position = int(connection.execute(text("select nextval('quoting.offer_numbers')")).scalar_one())
        return f"O-{year}-{position:06d}", position

    def asked_as(self, route_key: str) -> StoredOffer | None:
        """The offer that was made for a request of that name, if any."""
        found = self._where("route_key = :value", route_key)
        return found[0] if found else None

    def offer(self, number: str) -> StoredOffer:
        """One offer by its id; raises `OfferUnknown`."""
        found = self._where("id = :value", number)
        if not found:
            raise OfferUnknown(number)
        return found[0]

    def of_quote(self, quote_number: str) -> Sequence[StoredOffer]:
        """The offers of a quote, newest first."""
        return self._where("quote_number = :value order by position desc", quote_number)

    def by_code(self, code_sha256: bytes) -> StoredOffer | None:
        """The offer whose code has that SHA-256."""
        found = self._where("code_sha256 = :value", code_sha256)
        return found[0] if found else None

    def add(self, offer: StoredOffer, position: int) -> StoredOffer:
        """Keep an offer, unless one was made for the same request meanwhile; the one that is kept."""
        given = {**vars(offer), "recipients": list(offer.recipients), "copies": list(offer.copies), "position": position}
        with self._database.transaction() as connection:
            names = ", ".join(f":{name}" for name in given)
            statement = f"insert into quoting.offers ({', '.join(given)}) values ({names}) on conflict (route_key) do nothing"  # nosec B608  names of our own
            is_new = connection.execute(text(statement), given).rowcount == 1
            if is_new and offer.sent_at is not None:
                _note(connection, offer, offer.sent_at)
        kept = offer if is_new else self.asked_as(offer.route_key or "")
        assert kept is not None
        return kept

    def send_once(self, offer: StoredOffer, hand_over: Callable[[], None], now: datetime) -> StoredOffer:
        """Hand an offer over and note when, unless that was done; what `hand_over` raises leaves it unsent. The row is locked meanwhile."""
        with self._database.transaction() as connection:
            lock = text("select sent_at from quoting.offers where id = :id for update")
            if connection.execute(lock, {"id": offer.id}).scalar_one() is None:
                hand_over()
                connection.execute(text("update quoting.offers set sent_at = :now where id = :id"), {"now": now, "id": offer.id})
                _note(connection, offer, now)
        return self.offer(offer.id)

    def _where(self, condition: str, value: Any) -> list[StoredOffer]:
        with self._database.transaction() as connection:
            rows = connection.execute(text(f"select {COLUMNS} from quoting.offers where {condition}"), {"value": value})  # nosec B608  texts of our own
            return [_stored(row) for row in rows]


def _stored(row: Any) -> StoredOffer:
    values: dict[str, Any] = {
        name: bytes(value) if isinstance(value, memoryview) else value for name, value in row._mapping.items()
    }
    return StoredOffer(**{**values, "recipients": tuple(values["recipients"]), "copies": tuple(values["copies"])})


def _note(connection: Connection, offer: StoredOffer, at: datetime) -> None:
    """That an offer was sent is an event of its revision, and an entry of the audit log."""
    note_event(connection, offer.number, "sent", f"{offer.id} by {offer.send} to {len(offer.recipients)}, key {offer.made_by}", at)
    details = {"offer": offer.id, "send": offer.send, "to": ", ".join(offer.recipients)}
    audit.record(connection, action="quote.send", subject=offer.number, at=at, details=details)
