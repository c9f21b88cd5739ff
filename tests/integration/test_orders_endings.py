"""How orders change and end, on a real PostgreSQL: by their terms, once, with one event each, and nothing booked twice."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from alembic import command
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.audit import AuditLog
from services.chassis.database import Database
from services.chassis.migrate import PARTS, _config
from services.orders import api_parts
from services.orders.ending import cancel, complete
from services.orders.errors import OrderEnded
from services.orders.store.events import Events
from services.orders.store.repository import BookStore
from shared_schemas.load import Handover
from shared_schemas.order_events import CancellationTerms, OrderEvent
from tests.integration.test_orders_routes import BOOK, FRONT, NOW, Door, accepted, booked, door, reporting
from tests.integration.test_quoting_life_store import at_once

__all__ = ["door"]

NUMBER = "Q-2026-000001"
PLACE = f"/v1/orders/{NUMBER}"
TODAY = NOW.date()
BY_SALES = {"by": "R. Lindqvist", "reason": "no_longer_needed", "note": "the project was stopped"}


def ordered(database: Database, *, free_until: date = TODAY, place: int = 1, **changes: Any) -> Handover:
    """An order of 10 hours that costs 1000.00 EUR, with terms, taken over."""
    terms = CancellationTerms(free_until=free_until, minimum_share=0.1, price=Decimal("1000.00"))
    plain = accepted(place)
    made = plain.accepted.model_copy(update={"currency": "EUR", "cancellation": terms, **changes})
    handover = Handover(position=changes.get("revision", 1) * 1000 + place, accepted=made)
    BookStore(database).take_over([handover], BOOK, now=NOW)
    return handover


def events(door: Door, after: int = 0) -> list[OrderEvent]:
    answer = door.ask("GET", f"/v1/order-events?after={after}", role="service")
    assert answer.status_code == 200, answer.text
    return [OrderEvent.model_validate(one) for one in answer.json()["items"]]


def at(door: Door, moment: datetime) -> None:
    """Set the clock of the routes."""
    door.app.dependency_overrides[api_parts.the_time] = lambda: moment


def test_an_order_is_cancelled_once_for_nothing_in_its_first_days_and_its_hours_are_free(door: Door, database: Database) -> None:
    ordered(database)
    answers = [door.ask("POST", f"{PLACE}/cancellation", role="sales", json=BY_SALES | {"note": note}) for note in ("one", "two")]
    assert [one.status_code for one in answers] == [200, 200]
    assert answers[0].content == answers[1].content, "it stays as it was"
    told = answers[0].json()
    assert (told["state"], told["booked_h"], told["cancellation"]["charge"], told["cancellation"]["note"]) == (
        "cancelled",
        0.0,
        "0",
        "one",
    )
    assert booked(door) == 0.0
    (event,) = events(door)
    assert (event.type, event.order, event.revision, event.at) == ("cancelled", NUMBER, 1, NOW)
    assert event.cancellation is not None
    assert (event.cancellation.by, event.cancellation.reason) == ("R. Lindqvist", "no_longer_needed")
    assert events(door, after=event.id) == []
    (entry,) = AuditLog(database).page(most=9, subject=NUMBER)
    assert (entry.action, entry.details["charge"]) == ("order.cancel", "0")


def test_after_these_days_it_costs_what_is_done_and_whoever_cancels_agrees_to_it_first(door: Door, database: Database) -> None:
    ordered(database, free_until=NOW.date() - timedelta(days=1))
    before = door.ask("GET", PLACE).json()
    assert before["cancellation_terms"] == {"free_until": "2026-11-01", "minimum_share": 0.1, "price": "1000.00"}
    for agreed in (None, "99.99"):
        refused = door.ask("POST", f"{PLACE}/cancellation", role="sales", json=BY_SALES | {"agreed_charge": agreed})
        assert (refused.status_code, refused.json()["title"]) == (409, "Cancelling costs something")
        assert "costs 100.00 EUR: it was free until 2026-11-01, and 0% of its work is done" in refused.json()["detail"]
        assert [(one["pointer"], one["limit"]) for one in refused.json()["errors"]] == [("/agreed_charge", "100.00")]
    assert door.ask("GET", PLACE).json() == before
    assert events(door) == []
    taken = door.ask("POST", f"{PLACE}/cancellation", role="sales", json=BY_SALES | {"agreed_charge": "100.00"}).json()
    assert (taken["cancellation"]["charge"], taken["cancellation"]["currency"]) == ("100.00", "EUR")


def test_an_order_that_is_completed_is_not_cancelled_and_the_other_way_round(door: Door, database: Database) -> None:
    ordered(database)
    ordered(database, place=2)
    assert door.ask("POST", f"{PLACE}/completion").status_code == 200
    late = door.ask("POST", f"{PLACE}/cancellation", json=BY_SALES)
    assert (late.status_code, late.json()["title"]) == (409, "The order has ended")
    assert "is completed; it cannot be cancelled any more" in late.json()["detail"]
    other = PLACE.replace("1", "2")
    assert door.ask("POST", f"{other}/cancellation", json=BY_SALES).status_code == 404
    second = "/v1/orders/Q-2026-000002"
    assert door.ask("POST", f"{second}/cancellation", json=BY_SALES).status_code == 200
    assert door.ask("POST", f"{second}/completion").status_code == 409
    assert [(one.type, one.order) for one in events(door)] == [("completed", NUMBER), ("cancelled", "Q-2026-000002")]


@pytest.mark.parametrize(
    ("asked", "pointer"),
    [
        ({"by": ""}, "/by"),
        ({}, "/by"),
        ({"by": "x", "reason": "weather"}, "/reason"),
        ({"by": "x", "agreed_charge": "-1"}, "/agreed_charge"),
        ({"by": "x", "agreed_charge": 5.0}, "/agreed_charge"),
        ({"by": "x", "colour": "blue"}, "/colour"),
    ],
)
def test_what_cannot_be_said_of_a_cancellation_is_named_and_nothing_is_cancelled(
    door: Door, database: Database, asked: dict[str, Any], pointer: str
) -> None:
    ordered(database)
    refused = door.ask("POST", f"{PLACE}/cancellation", json=asked)
    assert (refused.status_code, [one["pointer"] for one in refused.json()["errors"]]) == (422, [pointer])
    assert door.ask("GET", PLACE).json()["state"] == "booked"


def test_of_a_cancellation_and_a_completion_at_once_one_wins(door: Door, database: Database) -> None:
    for place in range(1, 5):
        ordered(database, place=place)

    def end(place: int) -> str:
        number = f"Q-2026-{place // 2 + 1:06d}"
        if place % 2:
            return cancel(number, None, key_id="k", now=NOW, resources=door.resources).state
        return complete(number, key_id="k", now=NOW, resources=door.resources).state

    found = at_once(8, end)
    assert sum(isinstance(one, OrderEnded) for one in found) == 4, found
    told = events(door)
    assert sorted(one.order for one in told) == [f"Q-2026-{place:06d}" for place in range(1, 5)]
    assert [one.id for one in told] == sorted({one.id for one in told})


def test_a_report_that_moves_the_day_is_told_once_and_the_way_back_too(door: Door, database: Database) -> None:
    path = reporting(door, database)
    promised = date(2027, 1, 11)
    assert door.ask("POST", path, json={"entries": [FRONT]}).status_code == 201
    assert events(door) == [], "it ships as promised"
    back = {"operation": "L1-polish-back", "run_min": 5.0}
    at(door, NOW + timedelta(days=8))
    for _ in range(2):
        door.ask("POST", path, json={"entries": [back]})
    (late,) = events(door)
    assert late.rescheduled is not None
    assert (late.type, late.rescheduled.old_date, late.rescheduled.new_date) == (
        "rescheduled",
        promised,
        promised + timedelta(days=7),
    )
    at(door, NOW + timedelta(days=20))
    assert door.ask("GET", "/v1/orders/Q-2026-000001").status_code == 200
    assert events(door) == [late], "that time goes by is no event"
    done = back | {"finished_at": "2026-11-03T08:00:00Z"}
    door.ask("POST", path, json={"entries": [done]})
    again = events(door)[-1].rescheduled
    assert again is not None
    assert (again.old_date, again.new_date, again.cause) == (promised + timedelta(days=7), promised, "work_reported")


def changed(database: Database, **changes: Any) -> Handover:
    """A change of the order: twice the hours, a week later."""
    plain = accepted(1, hours=20.0).accepted
    moved = {"revision": 2, "changes_order": 1, "ship_date": plain.ship_date + timedelta(weeks=1), "operations": plain.operations}
    return ordered(database, **moved | changes)


def test_a_change_takes_the_place_of_the_order_and_tells_the_day_to_which_it_moved(door: Door, database: Database) -> None:
    first = ordered(database, free_until=NOW.date() - timedelta(days=1)).accepted
    for _ in range(2):
        changed(database, free_until=NOW.date() + timedelta(days=9))
    assert booked(door) == pytest.approx(20.0), "not 30, and not 40"
    order = door.ask("GET", PLACE).json()
    assert (order["revision"], order["ship_date"], order["booked_h"]) == (2, "2027-01-18", 20.0)
    assert order["cancellation_terms"]["free_until"] == "2026-11-01", "a change does not begin the free days anew"
    (event,) = events(door)
    assert event.rescheduled is not None
    assert (event.revision, event.rescheduled.cause) == (2, "change_order")
    assert (event.rescheduled.old_date, event.rescheduled.new_date) == (first.ship_date, date(2027, 1, 18))
    assert [one.action for one in AuditLog(database).page(most=9, subject=NUMBER)] == ["order.change"]


def test_a_change_that_moves_no_day_is_no_event(door: Door, database: Database) -> None:
    first = ordered(database).accepted
    changed(database, ship_date=first.ship_date)
    assert (booked(door), events(door)) == (pytest.approx(20.0), [])


def test_an_order_and_its_change_may_come_in_one_page(door: Door, database: Database) -> None:
    plain = accepted(1)
    change = accepted(1, hours=20.0).accepted.model_copy(update={"revision": 2, "changes_order": 1})
    page = [plain, Handover(position=2, accepted=change)]
    for _ in range(2):
        BookStore(database).take_over(page, BOOK, now=NOW)
    assert booked(door) == pytest.approx(20.0)


@pytest.mark.parametrize("way", ["cancellation", "completion"])
def test_a_change_of_an_order_that_has_ended_meanwhile_is_cancelled_itself(door: Door, database: Database, way: str) -> None:
    ordered(database)
    assert door.ask("POST", f"{PLACE}/{way}").status_code == 200
    for _ in range(2):
        changed(database)
    assert booked(door) == 0.0
    first, second = events(door)
    assert (first.revision, second.type, second.revision) == (1, "cancelled", 2)
    assert second.cancellation is not None
    assert "before this change of it came" in second.cancellation.note


def test_events_are_read_from_an_id_on_and_cannot_be_changed_even_by_hand(door: Door, database: Database) -> None:
    for place in range(1, 4):
        ordered(database, place=place)
        door.ask("POST", f"/v1/orders/Q-2026-{place:06d}/completion")
    page = events(door)
    assert [one.order for one in events(door, after=page[0].id)] == [one.order for one in page[1:]]
    assert len(door.ask("GET", "/v1/order-events?limit=2", role="service").json()["items"]) == 2
    for query in ("after=-1", "after=x", "limit=0", "from=3"):
        assert door.ask("GET", f"/v1/order-events?{query}", role="service").status_code == 422
    assert door.ask("GET", "/v1/order-events", role="erp").status_code == 403
    for statement in ("update orders.events set document = 'x'", "delete from orders.events"):
        with pytest.raises(DBAPIError, match="never changed"), database.transaction() as connection:
            connection.execute(text(statement))


def test_orders_that_ended_before_there_were_events_are_told_by_the_migration(door: Door, database: Database) -> None:
    for place in range(1, 4):
        ordered(database, place=place)
    with database.transaction() as connection:
        config = _config(PARTS["orders"], connection=connection, schema="orders")
        command.downgrade(config, "0004")
        for place, state in ((2, "cancelled"), (1, "completed")):
            connection.execute(
                text("update orders.orders set state = :state, state_at = :at, key_id = 'k' where number = :number"),
                {"state": state, "at": NOW + timedelta(hours=4 - place), "number": f"Q-2026-{place:06d}"},
            )
        command.upgrade(config, "head")
    told = [OrderEvent.model_validate_json(one) for one in Events(database).after(0, most=9)]
    assert [(one.type, one.order, one.at) for one in told] == [
        ("cancelled", "Q-2026-000002", NOW + timedelta(hours=2)),
        ("completed", "Q-2026-000001", NOW + timedelta(hours=3)),
    ]
    assert door.ask("GET", "/v1/orders/Q-2026-000002").json()["cancellation"]["key_id"] == "k"
