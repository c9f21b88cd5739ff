"""Snapshots of the book of load over HTTP: asked for once, and a quote is made without them when nobody answers."""

from __future__ import annotations

from datetime import UTC, date, datetime

import httpx
import pytest

from services.chassis.load_source import (
    ASKED_AGAIN_AFTER_S,
    HttpLoadSource,
    LoadUnavailable,
    SnapshotNotFound,
    pinned_snapshot,
)
from services.chassis.pipeline import TRANSPORT_FAULTS
from shared_schemas.load import LoadSnapshot, LoadSnapshotHead, LoadSnapshotPage

MADE_AT = datetime(2026, 11, 2, 8, 0, tzinfo=UTC)


def snapshot(number: int) -> LoadSnapshot:
    return LoadSnapshot(number=number, digest=f"{number:064d}", made_at=MADE_AT, first_week=date(2026, 11, 2))


class Orders:
    """The orders service as it is asked: snapshots up to `newest`, or no answer at all."""

    def __init__(self, newest: int = 0) -> None:
        self.newest, self.is_away, self.asked, self.now = newest, False, [], 0.0  # type: ignore[var-annotated]
        self.source = HttpLoadSource("http://orders", "bw_key", transport=httpx.MockTransport(self.answer), clock=lambda: self.now)

    def answer(self, request: httpx.Request) -> httpx.Response:
        if self.is_away:
            raise httpx.ConnectError("refused", request=request)
        assert request.headers["Authorization"] == "Bearer bw_key"
        self.asked.append(request.url.raw_path.decode())
        if request.url.path == "/v1/load/snapshots":
            head = LoadSnapshotHead(number=self.newest, digest="d", made_at=MADE_AT, orders=0)
            return httpx.Response(200, text=LoadSnapshotPage(items=(head,) if self.newest else ()).model_dump_json())
        number = int(request.url.path.rsplit("/", 1)[1])
        return httpx.Response(200, text=snapshot(number).model_dump_json()) if number <= self.newest else httpx.Response(404)


def test_a_snapshot_is_asked_for_once_as_it_never_changes() -> None:
    orders = Orders(newest=3)
    assert [orders.source.snapshot(2), orders.source.snapshot(2)] == [snapshot(2)] * 2
    assert orders.asked == ["/v1/load/snapshots/2"]


def test_the_newest_is_asked_for_again_after_a_short_while_only() -> None:
    orders = Orders(newest=3)
    assert orders.source.latest() == snapshot(3)
    orders.newest, orders.now = 4, ASKED_AGAIN_AFTER_S - 0.1
    assert orders.source.latest() == snapshot(3)
    orders.now = ASKED_AGAIN_AFTER_S
    assert orders.source.latest() == snapshot(4)
    assert orders.asked == [
        "/v1/load/snapshots?limit=1",
        "/v1/load/snapshots/3",
        "/v1/load/snapshots?limit=1",
        "/v1/load/snapshots/4",
    ]


def test_with_the_orders_service_away_the_last_snapshot_known_is_the_newest() -> None:
    orders = Orders(newest=3)
    orders.source.latest()
    orders.is_away, orders.now = True, 60.0
    assert orders.source.latest() == snapshot(3)


def test_who_never_knew_a_book_goes_without_one_and_asks_again_later() -> None:
    orders = Orders(newest=3)
    orders.is_away = True
    assert orders.source.latest() is None
    orders.is_away = False
    assert orders.source.latest() is None, "asked again too soon"
    orders.now = ASKED_AGAIN_AFTER_S
    assert orders.source.latest() == snapshot(3)


def test_a_book_without_snapshots_and_no_address_of_one_are_no_book() -> None:
    assert Orders(newest=0).source.latest() is None
    assert HttpLoadSource("", "bw_key").latest() is None


def test_a_pinned_snapshot_that_cannot_be_had_is_a_fault_to_try_again_and_one_there_never_was_is_not() -> None:
    orders = Orders(newest=3)
    with pytest.raises(SnapshotNotFound, match="no snapshot 9"):
        orders.source.snapshot(9)
    orders.is_away = True
    with pytest.raises(LoadUnavailable) as fault:
        pinned_snapshot(orders.source, 3)
    assert isinstance(fault.value, TRANSPORT_FAULTS)
    assert not issubclass(SnapshotNotFound, TRANSPORT_FAULTS)
    assert pinned_snapshot(orders.source, None) is None
