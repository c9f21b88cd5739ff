"""A long feed, read page by page while four writers add to it, over a restored backup and through two epochs: nothing missing, nothing twice."""

from __future__ import annotations

import os
import re
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from queue import SimpleQueue

from pydantic import TypeAdapter
from sqlalchemy import text

from services.chassis.database import Database
from services.chassis.epoch import begin_epoch
from services.chassis.migrate import PARTS
from services.quoting.api.parts import cursor_of
from services.quoting.store.life import LifeStore
from services.quoting.store.order_events import OrderEventInbox
from shared_schemas.estimate_feed import EstimateEntry
from shared_schemas.order_events import OrderCancellation, OrderEvent
from shared_schemas.rates import Rates
from tests.integration.parts import run_statement
from tests.integration.test_quoting_feed import accepted, declined, ready
from tests.integration.test_quoting_life_routes import Shop
from tests.integration.test_quoting_life_store import NOW, at_once

ENTRIES_OF = TypeAdapter(list[EstimateEntry])
ENTRIES = 10_000
WRITTEN = int(os.environ.get("FEED_WRITTEN", "300"))
"""So many of them come from the store's own functions, some four thousandths of a second each; the others are copies of the first."""


def copied(database: Database, count: int) -> None:
    """So many more entries like the first of the feed, each with its own id."""
    with database.transaction() as connection:
        connection.execute(
            text("insert into quoting.feed_entries (position, epoch, type, at, number, quote_number, revision, document) "
                 "select p, epoch, type, at, number, quote_number, revision, "
                 "convert_to(regexp_replace(convert_from(document, 'UTF8'), '\"id\":[0-9]+', '\"id\":' || p), 'UTF8') "
                 "from (select * from quoting.feed_entries order by position limit 1) first, "
                 "lateral (select nextval('quoting.feed_positions') as p from generate_series(1, :count) where first.position > 0) more"),
            {"count": count},
        )  # fmt: skip


class Reader:
    """A poller that goes on from the cursor of the page before, and keeps the bytes of every entry as they came."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self.cursor: str | None = None
        self.seen: list[bytes] = []

    def read(self) -> int:
        """Read a page; how many bytes of entries were on it."""
        after = f"&after={self.cursor}" if self.cursor else ""
        answer = self._shop.ask("GET", f"/v1/estimates?limit=200{after}", role="erp")
        assert answer.status_code == 200, answer.text
        page = re.fullmatch(rb'\{"items":\[(.*)\],"next":"?([\w-]+)"?\}', answer.content, re.DOTALL)
        assert page is not None
        self.cursor = page[2].decode()
        if page[1]:
            self.seen.append(page[1])
        return len(page[1])

    def read_on(self) -> list[EstimateEntry]:
        """Read until a page is empty: all that was seen so far."""
        while self.read():
            pass
        return self.entries()

    def entries(self) -> list[EstimateEntry]:
        """All that was seen so far."""
        return ENTRIES_OF.validate_json(b"[" + b",".join(self.seen) + b"]")


@contextmanager
def backed_up(database: Database, postgres_url: str) -> Iterator[Database]:
    """A copy of the database as it is now, to be restored later."""
    name = database.engine.url.database
    database.close()  # only of a database that nobody is in is there a copy
    run_statement(postgres_url, f"create database {name}_copy template {name}")
    copy = Database(f"{postgres_url}/{name}_copy")
    try:
        yield copy
    finally:
        copy.close()
        run_statement(postgres_url, f"drop database {name}_copy with (force)")


def test_of_ten_thousand_entries_with_four_writers_none_is_missing_none_doubled_and_read_again_they_are_the_same(
    database: Database, rates: Rates
) -> None:
    numbers = ready(database, WRITTEN // 3)
    orders, declines = numbers[: len(numbers) // 2], numbers[len(numbers) // 2 :]
    copied(database, ENTRIES - len(numbers) - len(numbers) - len(orders))
    begin_epoch(database, PARTS, now=datetime.now(UTC), why="restored")
    life, inbox = LifeStore(database), OrderEventInbox(database)
    placed: SimpleQueue[str] = SimpleQueue()

    def accept(place: int) -> None:
        for number in orders[place::2]:
            life.decide(number, accepted())
            placed.put(number)

    def decline() -> None:
        for number in declines:
            life.decide(number, declined())

    def cancel() -> None:
        """Take in what orders tells, one event after the other, as soon as there is an order to cancel."""
        ended = OrderCancellation(at=NOW, by="M. Fell", charge=Decimal(0))
        for place in range(len(orders)):
            told = OrderEvent(
                id=place + 1, epoch="", type="cancelled", at=NOW, order=placed.get(timeout=60), revision=1, cancellation=ended
            )
            inbox.take_in([told])

    writers = (lambda: accept(0), lambda: accept(1), decline, cancel)
    reader, faults = Reader(Shop(database, rates)), list[object]()
    writing = threading.Thread(target=lambda: faults.extend(filter(None, at_once(4, lambda place: writers[place]()))))
    writing.start()
    while writing.is_alive():
        reader.read()
    entries = reader.read_on()
    assert faults == []
    assert len(entries) == ENTRIES
    ids = [one.id for one in entries]
    assert ids == sorted(set(ids)), "each once, in their order"
    for kind, quotes in (("accepted", orders), ("declined", declines), ("cancelled", orders)):
        told = Counter(one.number for one in entries if one.type == kind)
        assert told == Counter(number.replace("Q", "E", 1) for number in quotes), kind
    again = Reader(Shop(database, rates))
    again.read_on()
    assert b",".join(again.seen) == b",".join(reader.seen), "byte for byte"
    epochs = list(dict.fromkeys(one.epoch for one in entries))
    assert len(epochs) == 2, "one feed through both"
    assert {one.epoch for one in entries if one.decision is not None} == {epochs[1]}


def test_after_a_restore_cursors_of_before_and_of_the_future_are_gone_and_the_feed_goes_on(
    database: Database, rates: Rates, postgres_url: str
) -> None:
    first, lost = ready(database, 2)
    seen = Reader(Shop(database, rates))
    seen.read()
    with backed_up(database, postgres_url) as copy:
        LifeStore(database).decide(lost, accepted())
        ahead = Reader(Shop(database, rates))
        ahead.read()
        begin_epoch(copy, PARTS, now=datetime.now(UTC), why="restored")
        shop = Shop(copy, rates)
        for cursor in (seen.cursor, ahead.cursor):
            answer = shop.ask("GET", f"/v1/estimates?after={cursor}", role="erp")
            assert (answer.status_code, "before a backup was restored" in answer.json()["detail"]) == (410, True)
        LifeStore(copy).decide(first, declined())
        restored = Reader(shop)
        entries = restored.read_on()
        assert [(one.type, one.number) for one in entries] == [
            (kind, number.replace("Q", "E", 1)) for kind, number in (("ready", first), ("ready", lost), ("declined", first))
        ]
        before = max(one.id for one in ahead.entries())
        assert entries[-1].id > before, "no id is given out twice, not even those that were lost"
        future = cursor_of(shop.bench, "e", entries[-1].id + 1)
        answer = shop.ask("GET", f"/v1/estimates?after={future}", role="erp")
        assert (answer.status_code, "no page of this feed" in answer.json()["detail"]) == (410, True)
