"""The book on a real PostgreSQL: taken over once, freed when an order ends, replaced by its source, and never changed behind a quote."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

import httpx
import psycopg
import pytest
from sqlalchemy.exc import DBAPIError

from services.chassis.audit import AuditLog
from services.chassis.database import Database
from services.chassis.keys import Keys
from services.chassis.resources import Resources, build_resources
from services.chassis.web import make_app
from services.orders import stage
from services.orders.api_parts import the_time
from services.orders.domain.book import Capacity, booked_in
from services.orders.store.repository import BookStore
from services.rates.domain.seed import seed_rates
from shared_schemas.load import MOST_BOOKINGS, AcceptedOrder, Handover, LoadSnapshot
from shared_schemas.rate_drafts import RowChange
from tests.integration.parts import OneRevision, settings_on
from tests.integration.test_quoting_life_routes import Bench
from tests.unit.orders.test_orders_book import MONDAY, order

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
RATES = seed_rates()
BOOK = partial(booked_in, Capacity(RATES), first_week=MONDAY)


class Door:
    """The application with orders alone in it, and a key for each role."""

    def __init__(self, database: Database) -> None:
        chosen = settings_on(1, services=("orders",))
        made = replace(build_resources(chosen), database=database, rates=OneRevision(RATES))
        self.resources: Resources = Bench(**{one.name: getattr(made, one.name) for one in fields(made)})
        self.app = make_app(self.resources)
        self.app.dependency_overrides[the_time] = lambda: NOW
        keys = Keys(database)
        self.keys = {role: keys.add(role=role, label=role, now=NOW) for role in ("sales", "erp", "engineer", "admin", "service")}

    def ask(self, method: str, path: str, *, role: str = "erp", **more: Any) -> httpx.Response:
        headers = {"Authorization": f"Bearer {self.keys[role]}", **more.pop("headers", {})}

        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url="http://orders") as client:
                return await client.request(method, path, headers=headers, **more)

        return asyncio.run(asked())


@pytest.fixture
def door(database: Database) -> Door:
    return Door(database)


def accepted(place: int, hours: float = 10.0) -> Handover:
    work = ("optical centring", hours, MONDAY, MONDAY + timedelta(days=4))
    made: AcceptedOrder = order(work, number=f"Q-2026-{place:06d}")
    return Handover(position=place, accepted=made)


def booked(door: Door) -> float:
    book = door.ask("GET", "/v1/load?weeks=8").json()
    return sum(week["booked_h"] for centre in book["work_centres"] for week in centre["weeks"])


def ticks_booked(store: BookStore) -> int:
    numbers = [one.number for one in store.orders(before=None, most=200)]
    return sum(one.ticks for held in store.bookings(orders=numbers).values() for one in held)


def test_an_order_is_in_the_book_once_however_often_it_is_handed_over(door: Door, database: Database) -> None:
    store = BookStore(database)
    assert store.position() == 0
    assert store.take_over([accepted(3), accepted(4)], BOOK, now=NOW) == 2
    assert store.take_over([accepted(3), accepted(4)], BOOK, now=NOW) == 0
    assert store.position() == 4
    assert booked(door) == pytest.approx(20.0)
    assert [one["number"] for one in door.ask("GET", "/v1/load/snapshots").json()["items"]] == [2, 1]


def test_an_order_that_is_handed_over_under_another_position_is_passed_over_for_good(door: Door, database: Database) -> None:
    store = BookStore(database)
    assert store.take_over([accepted(1)], BOOK, now=NOW) == 1
    again = Handover(position=7, accepted=accepted(1).accepted)
    assert store.take_over([again], BOOK, now=NOW) == 0
    assert store.position() == 7
    assert store.take_over([accepted(2)], BOOK, now=NOW) == 1
    assert store.position() == 7, "never back"
    assert booked(door) == pytest.approx(20.0)


def test_an_order_years_ahead_and_one_at_a_centre_that_is_gone_hold_up_nobody(door: Door, database: Database) -> None:
    far = order(("optical centring", 5.0, date(2099, 1, 1), date(2099, 1, 9)), number="Q-2026-000001")
    gone = order(("a machine that was sold", 3.0, MONDAY, MONDAY), number="Q-2026-000002")
    handovers = [Handover(position=place, accepted=one) for place, one in enumerate((far, gone), start=1)]
    assert BookStore(database).take_over([*handovers, accepted(3)], BOOK, now=NOW) == 3
    snapshot = LoadSnapshot.model_validate_json(door.ask("GET", "/v1/load/snapshots/2").content)
    assert {name: sum(weeks) for name, weeks in snapshot.booked_h().items()} == {
        "optical centring": 15.0,
        "a machine that was sold": 3.0,
    }
    read = {one["work_centre"]: one for one in door.ask("GET", "/v1/load?weeks=1").json()["work_centres"]}
    assert read["a machine that was sold"]["weeks"][0] == {
        "week": "2026-11-02", "capacity_h": 0.0, "booked_h": 3.0, "free_h": 0.0, "share": 1.0
    }  # fmt: skip


def test_what_ends_frees_its_hours_and_telling_it_again_changes_nothing(door: Door, database: Database) -> None:
    BookStore(database).take_over([accepted(1), accepted(2), accepted(3)], BOOK, now=NOW)
    for number, way, role in (("Q-2026-000001", "cancellation", "sales"), ("Q-2026-000002", "completion", "erp")):
        answers = [door.ask("POST", f"/v1/orders/{number}/{way}", role=role) for _ in range(2)]
        assert [one.status_code for one in answers] == [200, 200]
        assert answers[1].json()["state"] == {"cancellation": "cancelled", "completion": "completed"}[way]
    assert booked(door) == pytest.approx(10.0)
    late = door.ask("POST", "/v1/orders/Q-2026-000002/cancellation")
    assert late.status_code == 409
    assert "is completed; it cannot be cancelled" in late.json()["detail"]
    assert door.ask("POST", "/v1/orders/Q-2026-000009/completion").status_code == 404
    assert len(door.ask("GET", "/v1/load/snapshots").json()["items"]) == 4


def test_an_order_is_read_with_its_weeks(door: Door, database: Database) -> None:
    BookStore(database).take_over([accepted(1, hours=60.0)], BOOK, now=NOW)
    found = door.ask("GET", "/v1/orders/Q-2026-000001", role="sales").json()
    assert found["booked_h"] == pytest.approx(60.0)
    assert found["work_centres"] == [{"work_centre": "optical centring", "booked_h": [39.0, 21.0]}]
    page = door.ask("GET", "/v1/orders?limit=1").json()
    assert (page["items"][0]["order"], page["next"]) == ("Q-2026-000001", None)


def test_an_erp_puts_all_that_it_has_booked_and_the_same_again_makes_no_other_book(door: Door) -> None:
    asked = {
        "source": "the ERP",
        "bookings": [{"order": "4711", "work_centre": "optical centring", "week": "2026-11-04", "hours": 20.0}],
    }
    answers = [door.ask("PUT", "/v1/load", json=asked) for _ in range(2)]
    assert [one.status_code for one in answers] == [200, 200]
    assert answers[0].json()["snapshot"] == answers[1].json()["snapshot"] == 2
    assert booked(door) == 20.0
    assert door.ask("PUT", "/v1/load", json=asked | {"bookings": []}).json()["snapshot"] == 3
    assert booked(door) == 0.0
    assert door.ask("PUT", "/v1/load", json=asked, role="sales").status_code == 403


def test_of_bookings_that_cannot_be_each_is_named_and_none_is_booked(door: Door) -> None:
    rows = [
        ("optical centring", "2026-11-02", 30.0),
        ("optical centring", "2026-11-03", 9.5),
        ("curve genrator", "2026-11-02", 1.0),
        ("bevel bench", "2026-10-30", 1.0),
    ]
    asked = {
        "source": "the ERP",
        "bookings": [{"order": "4711", "work_centre": name, "week": week, "hours": hours} for name, week, hours in rows],
    }
    refused = door.ask("PUT", "/v1/load", json=asked)
    assert refused.status_code == 422
    found = {one["pointer"]: one for one in refused.json()["errors"]}
    assert set(found) == {"/bookings/1/hours", "/bookings/2/work_centre", "/bookings/3/week"}
    assert (found["/bookings/1/hours"]["figure"], found["/bookings/1/hours"]["limit"]) == (39.5, 39.0)
    assert found["/bookings/2/work_centre"]["remedy"] == "did you mean curve generator?"
    assert booked(door) == 0.0


@pytest.mark.parametrize(
    ("field", "value", "pointer"),
    [
        ("hours", 1e308, "/bookings/0/hours"), ("hours", -1.0, "/bookings/0/hours"), ("hours", "4", "/bookings/0/hours"),
        ("week", "2026-13-01", "/bookings/0/week"), ("week", "0001-01-01", "/bookings/0/week"), ("week", "9999-12-31", "/bookings/0/week"),
        ("work_centre", "", "/bookings/0/work_centre"), ("work_centre", "\ud800", "/bookings/0/work_centre"),
        ("order", "a\u0000b", "/bookings/0/order"), ("order", "x" * 61, "/bookings/0/order"), ("ship_date", 1e300, "/bookings/0/ship_date"),
        ("colour", "blue", "/bookings/0/colour"),
    ],
)  # fmt: skip
def test_a_value_that_cannot_be_is_named_at_its_place(door: Door, field: str, value: Any, pointer: str) -> None:
    row = {"order": "4711", "work_centre": "optical centring", "week": "2026-11-04", "hours": 20.0, field: value}
    body = json.dumps({"source": "the ERP", "bookings": [row]})
    refused = door.ask("PUT", "/v1/load", content=body, headers={"Content-Type": "application/json"})
    assert (refused.status_code, [one["pointer"] for one in refused.json()["errors"]]) == (422, [pointer])
    assert refused.headers["Content-Type"] == "application/problem+json"
    assert [one["number"] for one in door.ask("GET", "/v1/load/snapshots").json()["items"]] == [1]


def test_all_that_an_erp_may_have_booked_is_taken_at_once(door: Door) -> None:
    names = [row.name for row in RATES.work_centres]
    rows = [
        {"order": f"order {order:06d}", "work_centre": names[place % 40], "week": (MONDAY + timedelta(weeks=place // 8)).isoformat(),
         "hours": 0.001, "ship_date": "2027-01-08"}
        for order in range(200) for place in range(40)
    ]  # fmt: skip
    asked = {"source": "the ERP", "bookings": rows}
    assert door.ask("PUT", "/v1/load", json=asked).status_code == 200
    assert door.ask("PUT", "/v1/load", json=asked).json()["snapshot"] == 2
    wrong = {"source": "the ERP", "bookings": [{**row, "work_centre": f"bench {place}"} for place, row in enumerate(rows)]}
    refused = door.ask("PUT", "/v1/load", json=wrong).json()
    assert "8000 bookings" in refused["detail"]
    assert len(refused["errors"]) == 100
    too_many = door.ask("PUT", "/v1/load", json={"source": "the ERP", "bookings": [rows[0]] * (MOST_BOOKINGS + 1)})
    assert (too_many.status_code, too_many.json()["errors"][0]["limit"]) == (422, MOST_BOOKINGS)


def test_who_may_read_the_book_and_who_may_change_it(door: Door, database: Database) -> None:
    BookStore(database).take_over([accepted(1)], BOOK, now=NOW)
    readers = {"sales": 200, "erp": 200, "engineer": 200, "admin": 200, "service": 403}
    asked: dict[tuple[str, str], dict[str, int]] = {
        ("GET", "/v1/load"): readers,
        ("GET", "/v1/load/snapshots"): readers | {"service": 200},
        ("GET", "/v1/load/snapshots/1"): readers | {"service": 200},
        ("GET", "/v1/orders"): readers,
        ("GET", "/v1/orders/Q-2026-000001"): readers,
        ("PUT", "/v1/load"): {"sales": 403, "erp": 422, "engineer": 422, "admin": 422, "service": 403},
        ("POST", "/v1/orders/Q-2026-000001/completion"): {"sales": 403, "engineer": 403, "service": 403, "erp": 200, "admin": 200},
        ("POST", "/v1/orders/Q-2026-000001/cancellation"): {
            "engineer": 403,
            "service": 403,
            "sales": 409,
            "erp": 409,
            "admin": 409,
        },
    }
    for (method, path), statuses in asked.items():
        for role, status in statuses.items():
            more = {"json": {}} if method == "PUT" else {}
            assert door.ask(method, path, role=role, **more).status_code == status, (method, path, role)


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/v1/orders/%00", 422), ("/v1/orders/" + "x" * 61, 422), ("/v1/orders/Q-1", 404), ("/v1/orders?cursor=x", 422),
        ("/v1/orders?limit=0", 422), ("/v1/load?weeks=0", 422), ("/v1/load/snapshots/0", 422), ("/v1/load/snapshots/99999999999", 422),
        ("/v1/load/snapshots?limit=201", 422), ("/v1/load/snapshots?cursor=0", 422), ("/v1/load/other", 404),
    ],
)  # fmt: skip
def test_what_is_not_there_or_cannot_be_is_named(door: Door, path: str, status: int) -> None:
    answer = door.ask("GET", path)
    assert (answer.status_code, answer.headers["Content-Type"]) == (status, "application/problem+json")


def test_pages_of_orders_go_back_to_the_first_and_miss_none(door: Door, database: Database) -> None:
    BookStore(database).take_over([accepted(place) for place in range(1, 6)], BOOK, now=NOW)
    numbers, cursor = [], None
    while True:
        page = door.ask("GET", "/v1/orders", params={"limit": 2, **({"cursor": cursor} if cursor else {})}).json()
        numbers += [(item["order"], item["booked_h"]) for item in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert numbers == [(f"Q-2026-{place:06d}", 10.0) for place in range(5, 0, -1)]


def test_two_sources_share_the_hours_and_each_replaces_only_its_own(door: Door) -> None:
    def put(source: str, hours: float) -> httpx.Response:
        row = {"order": "4711", "work_centre": "optical centring", "week": "2026-11-04", "hours": hours}
        return door.ask("PUT", "/v1/load", json={"source": source, "bookings": [row]})

    assert put("the ERP", 20.0).status_code == 200
    assert put("the spreadsheet", 15.0).status_code == 200
    refused = put("the ERP", 30.0)
    (fault,) = refused.json()["errors"]
    assert (fault["pointer"], fault["figure"], fault["limit"]) == ("/bookings/0/hours", 45.0, 39.0)
    assert booked(door) == 35.0
    assert put("the ERP", 24.0).status_code == 200
    assert booked(door) == 39.0


def test_a_snapshot_may_be_kept_for_ever_and_nobody_can_change_it(door: Door, database: Database) -> None:
    BookStore(database).take_over([accepted(1)], BOOK, now=NOW)
    first = door.ask("GET", "/v1/load/snapshots/2", role="service")
    snapshot = LoadSnapshot.model_validate_json(first.content)
    assert first.headers["ETag"] == f'"{snapshot.digest}"'
    assert "immutable" in first.headers["Cache-Control"]
    assert door.ask("GET", "/v1/load/snapshots/2", headers={"If-None-Match": first.headers["ETag"]}).status_code == 304
    missing = door.ask("GET", "/v1/load/snapshots/9")
    assert (missing.status_code, missing.json()["detail"]) == (404, "There is no snapshot 9 of the book of load; the latest is 2.")
    with pytest.raises(DBAPIError) as caught, database.transaction() as connection:
        connection.exec_driver_sql("delete from orders.snapshots")
    assert isinstance(caught.value.orig, psycopg.errors.RaiseException)


def test_the_book_can_be_had_as_a_chart(door: Door) -> None:
    chart = door.ask("GET", "/v1/load?weeks=3", headers={"Accept": "image/svg+xml"})
    assert chart.headers["content-type"] == "image/svg+xml"
    assert chart.text.startswith("<svg")
    assert door.ask("GET", "/v1/load", headers={"Accept": "text/csv"}).status_code == 406
    assert door.ask("GET", "/v1/load?weeks=99").status_code == 422


def test_snapshots_follow_one_another_when_many_book_at_once(database: Database) -> None:
    store = BookStore(database)
    with ThreadPoolExecutor(6) as pool:
        list(pool.map(lambda place: store.take_over([accepted(place)], BOOK, now=NOW), range(1, 13)))
    heads = store.heads(before=None, most=50)
    assert [one.number for one in heads] == list(range(13, 0, -1))
    assert len({one.digest for one in heads}) == 13
    assert ticks_booked(store) == 12 * 10 * 60_000


def test_the_doorbell_makes_orders_ask_from_its_own_position_on(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    given = [accepted(place) for place in (2, 5, 9)]
    asked: list[int] = []

    def handed(resources: Resources, *, after: int) -> tuple[Handover, ...]:
        asked.append(after)
        return tuple(one for one in given if one.position > after)[:2]

    monkeypatch.setattr(stage, "handed_over", handed)
    stage.take_over(door.resources)
    assert asked == [0, 5, 9]
    assert ticks_booked(BookStore(door.resources.database)) == 30 * 60_000


def test_quoting_that_does_not_answer_costs_nothing_but_time(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    def away(resources: Resources, *, after: int) -> tuple[Handover, ...]:
        raise httpx.ConnectError("nobody there")

    monkeypatch.setattr(stage, "handed_over", away)
    stage.take_over(door.resources)
    assert booked(door) == 0.0
    assert date.fromisoformat(door.ask("GET", "/v1/load").json()["first_week"]) == MONDAY


def test_the_end_of_an_order_is_audited_with_the_key_that_told_it(door: Door, database: Database) -> None:
    BookStore(database).take_over([accepted(1)], BOOK, now=NOW)
    for _ in range(2):
        assert door.ask("POST", "/v1/orders/Q-2026-000001/completion").status_code == 200
    (entry,) = AuditLog(database).page(most=9, subject="Q-2026-000001")
    assert (entry.action, entry.by, entry.label) == ("order.complete", door.keys["erp"].split("_")[1], "erp")


def reporting(door: Door, database: Database) -> str:
    """Where to report of an order of two operations, of 10 and 5 hours that cost 900.00 and 450.00."""
    plain = order(
        ("optical centring", 10.0, MONDAY, MONDAY),
        ("optical centring", 5.0, MONDAY, MONDAY + timedelta(days=1)),
        number="Q-2026-000001",
    )
    operations = tuple(
        one.model_copy(
            update={"id": f"L1-polish-{face}", "cost": cost, "setup_min": 60.0, "run_min": one.hours * 60 - 60, "pieces": 30}
        )
        for one, face, cost in zip(plain.operations, ("front", "back"), (Decimal("900.00"), Decimal("450.00")), strict=True)
    )
    made = plain.model_copy(update={"operations": operations, "currency": "EUR"})
    BookStore(database).take_over([Handover(position=1, accepted=made)], BOOK, now=NOW)
    return "/v1/orders/E-2026-000001/actuals"


FRONT = {
    "operation": "L1-polish-front", "setup_min": 60.0, "run_min": 600.0, "started": 30, "good": 28, "reason_of_loss": "scratches",
    "finished_at": "2026-11-02T08:00:00Z",
}  # fmt: skip


def test_what_is_reported_in_parts_shows_how_far_an_order_is_and_what_it_cost(door: Door, database: Database) -> None:
    path = reporting(door, database)
    first = door.ask("POST", path, json={"entries": [FRONT]})
    assert (first.status_code, first.json()["taken"]) == (201, 1)
    progress = door.ask("GET", "/v1/orders/Q-2026-000001", role="sales").json()["progress"]
    assert progress == first.json()["progress"]
    assert (progress["done"], progress["late"], progress["currency"]) == (1, 0, "EUR")
    assert (progress["quoted_cost"], progress["quoted_cost_so_far"], progress["cost_so_far"]) == ("1350.00", "900.00", "990.00")
    assert [one["state"] for one in progress["operations"]] == ["done", "open"]


def test_the_same_report_again_is_nothing_new_and_a_later_one_takes_its_place_and_both_are_kept(
    door: Door, database: Database
) -> None:
    path = reporting(door, database)
    named = {"headers": {"Idempotency-Key": "Monday"}}
    right = FRONT | {"run_min": 540.0}
    answers = [
        door.ask("POST", path, json={"entries": [FRONT]}, **named), door.ask("POST", path, json={"entries": [FRONT]}),
        door.ask("POST", path, json={"entries": [right]}), door.ask("POST", path, json={"entries": [FRONT]}, **named),
    ]  # fmt: skip
    assert [one.status_code for one in answers] == [201, 200, 201, 200]
    assert answers[-1].json()["progress"]["cost_so_far"] == "900.00", "a repeated request does not undo what corrected it"
    kept = door.ask("GET", "/v1/orders/Q-2026-000001/actuals").json()["entries"]
    assert [(one["entry"]["run_min"], one["stands"]) for one in kept] == [(600.0, False), (540.0, True)]
    reused = door.ask("POST", path, json={"entries": [right]}, **named)
    assert (reused.status_code, reused.json()["type"]) == (422, "/problems#idempotency-conflict")


def test_a_report_comes_as_csv_too(door: Door, database: Database) -> None:
    text = "operation,run_min,started,good,price_paid,finished_at\nL1-polish-front,600,30,28,,2026-11-02T08:00:00Z\nL1-polish-back,,,,410.00,\n"
    csv = {"headers": {"Content-Type": "text/csv"}}
    path = reporting(door, database)
    taken = door.ask("POST", path, content=text, **csv)
    assert (taken.status_code, taken.json()["taken"]) == (201, 2)
    assert taken.json()["progress"]["cost_so_far"] == "1310.00", "900.00 in proportion to the minutes, and the price paid"
    wrong = door.ask("POST", path, content="operation,good\nL1-polish-front,many\n", **csv)
    assert [one["pointer"] for one in wrong.json()["errors"]] == ["/entries/0/good"]


@pytest.mark.parametrize(
    ("entry", "pointer", "words"),
    [
        (FRONT | {"operation": "L1-polish-fornt"}, "/entries/1/operation", "did you mean L1-polish-front?"),
        (FRONT | {"run_min": -1.0}, "/entries/1/run_min", "at least 0"),
        (FRONT | {"good": 31}, "/entries/1", "count again"),
        (FRONT | {"finished_at": "2026-11-03T08:00:00Z"}, "/entries/1/finished_at", "report it when it is done"),
    ],
)
def test_an_entry_that_cannot_be_is_named_and_nothing_of_the_report_is_kept(
    door: Door, database: Database, entry: dict[str, Any], pointer: str, words: str
) -> None:
    path = reporting(door, database)
    refused = door.ask("POST", path, json={"entries": [{"operation": "L1-polish-back", "run_min": 5.0}, entry]})
    assert refused.status_code == 422
    (error,) = refused.json()["errors"]
    assert error["pointer"].startswith(pointer)
    assert words in error["remedy"]
    assert door.ask("GET", "/v1/orders/Q-2026-000001/actuals").json()["entries"] == []


def test_an_estimate_that_nobody_ordered_has_nothing_to_report_of(door: Door, database: Database) -> None:
    path = reporting(door, database)
    wrong = {
        "E-2026-000002": "The estimate is no order",
        "E-2026-000001.2": "The estimate is no order",
        "Q-2": "There is no such order",
    }
    for other, title in wrong.items():
        refused = door.ask("POST", path.replace("E-2026-000001", other), json={"entries": [FRONT]})
        assert (refused.status_code, refused.json()["title"]) == (404, title)
    door.ask("POST", "/v1/orders/Q-2026-000001/cancellation")
    assert door.ask("POST", path, json={"entries": [FRONT]}).status_code == 409


def reported_by(door: Door, database: Database, *, operation: str, centre: str, jobs: int, run_min: Callable[[int], float]) -> None:
    """Jobs at the first revision, one a day, planned with 60 and 540 minutes; and one of before revisions were handed over."""
    handovers = []
    for place in range(1, jobs + 2):
        made = accepted(place).accepted
        line = made.operations[0].model_copy(
            update={
                "operation": operation, "work_centre": centre, "setup_min": 60.0, "run_min": 540.0, "pieces": 30,
                "glass_class": f"HG{2 + place % 2}", "tolerance_class": "precision",
            }
        )  # fmt: skip
        revision = door.resources.rates.latest().number if place <= jobs else None
        made = made.model_copy(update={"operations": (line,), "rate_revision": revision})
        handovers.append(Handover(position=place, accepted=made))
    BookStore(database).take_over(handovers, BOOK, now=NOW)
    for place in range(1, jobs + 2):
        entry = {
            "operation": "operation-1",
            "setup_min": 60.0 + place % 3,
            "run_min": run_min(place),
            "finished_at": (NOW - timedelta(days=jobs + 2 - place)).isoformat(),
        }
        assert door.ask("POST", f"/v1/orders/Q-2026-{place:06d}/actuals", json={"entries": [entry]}).status_code == 201


@pytest.mark.parametrize(
    ("centre", "operation", "rests_on"), [("blackening bench", "blacken_edge", []), ("optical centring", "centre", ["grinding"])]
)
def test_jobs_that_took_a_third_longer_are_evidence_and_make_a_patch_where_the_minutes_are_of_the_row_alone(
    door: Door, database: Database, centre: str, operation: str, rests_on: list[str]
) -> None:
    row = next(one for one in RATES.work_centres if one.name == centre)
    reported_by(door, database, operation=operation, centre=centre, jobs=12, run_min=lambda place: 700.0 + 10 * (place % 5))
    waiting = accepted(20).accepted
    line = waiting.operations[0].model_copy(update={"operation": operation, "work_centre": centre, "run_min": 600.0})
    BookStore(database).take_over(
        [Handover(position=20, accepted=waiting.model_copy(update={"operations": (line,)}))], BOOK, now=NOW
    )
    learned = door.ask("GET", "/v1/rates/learned", role="engineer").json()
    assert (learned["orders"], learned["orders_of_other_rates"]) == (12, 1)
    (found,) = learned["rows"]
    assert found["row"] == centre
    run = next(one for one in found["evidence"] if one["time"] == "run")
    assert (run["jobs"], run["is_sure"], run["changed"]) == (12, True, False)
    assert 1.2 < run["low"] < run["ratio"] < run["high"] < 1.5
    assert run["error_after"] < run["error_before"]
    assert [(one["glass_class"], one["tolerance_class"], one["jobs"]) for one in run["classes"]] == [
        ("HG2", "precision", 6), ("HG3", "precision", 6)
    ]  # fmt: skip
    assert found["rests_on"] == rests_on
    # Set-up took as long as planned.
    changed = {} if rests_on else {name: getattr(row, name) * run["ratio"] for name in ("load_min_per_piece", "cycle_min")}
    assert found["patch"] == pytest.approx(changed, rel=1e-3)
    if rests_on:
        assert found["draft_row"] is None
    else:
        change = RowChange.model_validate(found["draft_row"])
        assert (change.table, change.row) == ("work_centres", centre)
        assert {name: found["becomes"][name] for name in change.patch} == change.patch
        assert {name: change.patch[name] for name in found["patch"]} == found["patch"]
        assert (change.patch["origin"], change.patch["as_of"]) == ("measured", "2026-10-31")
        assert "Q-2026-000001 to Q-2026-000012" in change.patch["document"]
    effect = found["open_orders"]
    assert (effect["orders"], effect["planned_h"]) == (1, 10.0)
    assert effect["learned_h"] == pytest.approx(10 * run["ratio"], rel=0.02)
    assert float(effect["cost"]) > 0


def test_a_machine_that_became_slower_is_said_to_be_another_since_a_day(door: Door, database: Database) -> None:
    reported_by(
        door, database, operation="blacken_edge", centre="blackening bench", jobs=30,
        run_min=lambda place: (540.0 if place <= 15 else 760.0) + 10 * (place % 5),
    )  # fmt: skip
    learned = door.ask("GET", "/v1/rates/learned", role="engineer").json()
    (change,) = [one for one in learned["changes"] if one["time"] == "run"]
    assert (change["since"], change["jobs_since"]) == ("2026-10-17", 15)
    assert change["ratio_before"] == pytest.approx(1.04, abs=0.02)
    assert change["ratio"] == pytest.approx(1.43, abs=0.05)
    (row,) = learned["rows"]
    assert (row["evidence"][0]["jobs"], row["evidence"][0]["all_jobs"]) == (15, 30)
    assert "15 jobs from 2026-10-17" in row["draft_row"]["patch"]["source"]
