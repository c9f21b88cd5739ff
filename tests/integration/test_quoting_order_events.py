"""What happened to orders comes into the feed of estimates once, whoever takes it in, and a change of an order takes its place everywhere."""

from __future__ import annotations

import threading
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from sqlalchemy import text

from services.chassis.database import Database
from services.orders import stage
from services.orders.errors import OrderEnded, OrderUnknown
from services.orders.store.endings import Endings
from services.orders.store.events import Events
from services.orders.store.repository import BookStore, StoredOrder
from services.quoting.errors import DecisionStands, NothingToChange, OrderOver
from services.quoting.service.order_events import take_in
from services.quoting.store.feed import Feed
from services.quoting.store.handovers import Handovers
from services.quoting.store.life import LifeStore
from services.quoting.store.order_events import OrderEventInbox
from services.quoting.store.rows import Decision
from shared_schemas.estimate_feed import EstimateEntry
from shared_schemas.load import AcceptedOrder, Handover
from shared_schemas.order_events import OrderCancellation, OrderEvent
from shared_schemas.pipeline import TAKE_IN_TASK, TAKE_OVER_TASK
from tests.integration.test_orders_routes import BOOK
from tests.integration.test_quoting_and_orders import one_element, shop
from tests.integration.test_quoting_feed import ORDERS, WRITERS, ready, requoted
from tests.integration.test_quoting_handovers import accepted
from tests.integration.test_quoting_life_routes import Shop
from tests.integration.test_quoting_life_store import NOW, at_once
from tests.unit.orders.test_orders_book import MONDAY, order

__all__ = ["one_element", "shop"]

BY_SALES = {"by": "R. Lindqvist", "reason": "changed"}


def answer_the_bells(shop: Shop) -> None:
    """Both services do what they were rung for, and what that rings for."""
    doing = {TAKE_OVER_TASK: stage.take_over, TAKE_IN_TASK: take_in}
    while shop.bench.rung:
        task, *_ = shop.bench.rung.pop(0)
        doing[task](shop.bench)


def told(shop: Shop) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = shop.get("/v1/estimates", role="erp")["items"]
    return items


def decision(revision: int = 1, changes_order: int | None = None) -> Decision:
    return Decision("accepted", 5, "x", "", "key", NOW, changes_order=changes_order)


def handover(row_number: str, revision: int = 1, changes_order: int | None = None) -> bytes:
    """An order of ten hours for each revision, which ships a day later with each."""
    hours = ("optical centring", 10.0 * revision, MONDAY, MONDAY + timedelta(days=4))
    made = order(hours, number=row_number.partition(".")[0]).model_copy(
        update={"revision": revision, "changes_order": changes_order, "ship_date": date(2027, 1, 10) + timedelta(days=revision)}
    )
    return made.model_dump_json().encode()


def settled(stored: StoredOrder, actuals: Any) -> OrderCancellation:
    return OrderCancellation(at=NOW, by="x", charge=Decimal(0))


def take_over_all(database: Database) -> None:
    store = BookStore(database)
    while found := Handovers(database).after(store.position(), most=50):
        orders = [AcceptedOrder.model_validate_json(one.document) for one in found]
        store.take_over(
            [Handover(position=one.position, accepted=made) for one, made in zip(found, orders, strict=True)], BOOK, now=NOW
        )


def take_in_all(database: Database) -> None:
    inbox = OrderEventInbox(database)
    inbox.take_in([OrderEvent.model_validate_json(one) for one in Events(database).after(inbox.position(), most=200)])


def test_a_change_of_an_order_says_its_difference_and_takes_its_place_until_it_is_cancelled(
    shop: Shop, one_element: dict[str, Any]
) -> None:
    number = shop.quoted(one_element)
    first = accepted(shop, number)
    answer_the_bells(shop)
    assert shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": {"quantities": [25]}}).status_code == 202
    shop.work()
    again = {"decision": "accepted", "quantity": 25, "by": "R. Lindqvist"}
    refused = shop.ask("POST", f"/v1/quotes/{number}/decision", json=again)
    assert (refused.status_code, "accept this revision with changes_order 1" in refused.json()["detail"]) == (409, True)
    second = accepted(shop, number, quantity=25, changes_order=1)
    change = second["change"]
    old, new = (
        shop.get(f"/v1/estimates/{one}?view=plan", role="erp")
        for one in (number.replace("Q", "E"), f"{number.replace('Q', 'E')}.2")
    )
    prices = [Decimal(one["quantities"][0]["total_payable"]) for one in (old, new)]
    assert [Decimal(change[name]) for name in ("old_price", "new_price", "price_difference")] == [*prices, prices[1] - prices[0]]
    days = [date.fromisoformat(one["promised"]["ship_date"]) for one in (first, second)]
    assert (change["changes_order"], change["old_quantity"], change["days_later"]) == (1, 5, (days[1] - days[0]).days)
    assert new["decision"] == second, "the production order says it too"
    assert accepted(shop, number, quantity=25) == second, "told again it is the same"
    answer_the_bells(shop)
    found = shop.get(f"/v1/orders/{number}")
    snapshot = shop.bench.load.latest()
    assert snapshot is not None
    assert [one.order for one in snapshot.orders] == [number]
    assert (found["revision"], found["quantity"]) == (2, 25)
    assert found["booked_h"] == pytest.approx(
        sum(new["quantities"][0]["operations"]["setup_min"] + new["quantities"][0]["operations"]["run_min"]) / 60, rel=0.01
    )
    moved = [("rescheduled", 2)] if days[0] != days[1] else []
    entries = [("ready", 1), ("accepted", 1), ("ready", 2), ("accepted", 2), ("superseded", 1), *moved]
    assert [(one["type"], one["revision"]) for one in told(shop)] == entries
    cancelled = shop.ask("POST", f"/v1/orders/{number}/cancellation", json=BY_SALES)
    assert (cancelled.status_code, cancelled.json()["cancellation"]["charge"]) == (200, "0"), cancelled.text
    answer_the_bells(shop)
    last = told(shop)[-1]
    assert (last["type"], last["revision"], last["decision"], last["cancellation"]["by"]) == (
        "cancelled",
        2,
        second,
        "R. Lindqvist",
    )
    assert shop.bench.load.latest().orders == ()  # type: ignore[union-attr]
    assert shop.get(f"/v1/quotes/{number}")["decision"] == second | {"order_state": "cancelled"}
    shop.ask("POST", f"/v1/quotes/{number}/requote")
    shop.work()
    over = shop.ask("POST", f"/v1/quotes/{number}/decision", json=again | {"changes_order": 2})
    assert (over.status_code, over.json()["title"]) == (409, "The order has ended")
    assert shop.get(f"/v1/quotes/{number}")["state"] == "open"


def test_an_order_is_cancelled_a_moment_after_it_was_accepted_though_nobody_heard_of_it(
    shop: Shop, one_element: dict[str, Any]
) -> None:
    number = shop.quoted(one_element)
    accepted(shop, number)
    shop.bench.rung.clear()
    assert shop.ask("POST", f"/v1/orders/{number}/cancellation", json=BY_SALES).status_code == 200
    assert told(shop)[-1]["type"] == "accepted"
    shop.bench.rung.clear()
    take_in(shop.bench)
    page = shop.ask("GET", "/v1/estimates", role="erp").content
    take_in(shop.bench)
    assert told(shop)[-1]["type"] == "cancelled", "a lost doorbell costs only the time until the next look"
    assert shop.ask("GET", "/v1/estimates", role="erp").content == page, "read again it is the same"


def test_after_the_free_days_the_terms_of_the_customer_say_what_it_costs(shop: Shop, one_element: dict[str, Any]) -> None:
    number = shop.quoted(one_element)
    accepted(shop, number)
    shop.now += timedelta(days=4)
    terms = shop.get(f"/v1/quotes/{number}")
    refused = shop.ask("POST", f"/v1/orders/{number}/cancellation", json=BY_SALES)
    assert refused.status_code == 409
    charge = Decimal(refused.json()["errors"][0]["limit"])
    payable = Decimal(terms["breaks"][0]["total_price"]) + sum(Decimal(one["charge"]) for one in terms["tooling"])
    assert Decimal("0.1") * payable - 1 <= charge < payable
    taken = shop.ask("POST", f"/v1/orders/{number}/cancellation", json=BY_SALES | {"agreed_charge": str(charge)})
    assert (taken.status_code, Decimal(taken.json()["cancellation"]["charge"])) == (200, charge)


def test_a_change_of_what_is_not_ordered_is_named(shop: Shop, one_element: dict[str, Any]) -> None:
    number = shop.quoted(one_element)
    for changes_order in (1, 7):
        asked = {"decision": "accepted", "quantity": 5, "by": "x", "changes_order": changes_order}
        refused = shop.ask("POST", f"/v1/quotes/{number}/decision", json=asked)
        assert (refused.status_code, refused.json()["title"]) == (409, "There is no such order to change")
        assert f"There is no order of revision {changes_order}" in refused.json()["detail"]
    assert [one["decision"] for one in told(shop)] == [None]


def test_an_order_is_accepted_in_several_parts_each_with_its_days(shop: Shop, one_element: dict[str, Any]) -> None:
    number = shop.quoted(one_element)
    whole = {"decision": "accepted", "quantity": 5, "by": "x", "deliveries": [{"quantity": 2, "by": "2027-03-01"}, {"quantity": 3}]}
    for wrong, pointer in (
        (whole | {"quantity": 6}, "/deliveries"),
        (whole | {"deliveries": [{"quantity": 5, "by": "2026-11-01"}]}, "/deliveries/0/by"),
        (whole | {"decision": "declined", "quantity": None}, "/deliveries"),
    ):
        refused = shop.ask("POST", f"/v1/quotes/{number}/decision", json=wrong)
        assert (refused.status_code, [one["pointer"] for one in refused.json()["errors"]]) == (422, [pointer])
    assert shop.get(f"/v1/quotes/{number}")["decision"] is None
    taken = accepted(shop, number, by="x", deliveries=whole["deliveries"])
    parts = taken["promised"]["deliveries"]
    assert [(one["quantity"], one["by"]) for one in parts] == [(2, "2027-03-01"), (3, None)]
    assert parts[0]["of_one_lot"]["p90"] <= parts[1]["of_one_lot"]["p90"] <= taken["promised"]["days"]["p90"]
    assert accepted(shop, number, by="x") == taken
    other = shop.ask("POST", f"/v1/quotes/{number}/decision", json=whole | {"deliveries": [{"quantity": 5}]})
    assert other.status_code == 409
    answer_the_bells(shop)
    assert shop.get(f"/v1/orders/{number}")["deliveries"] == [{"quantity": 2, "by": "2027-03-01"}, {"quantity": 3, "by": None}]


def test_events_are_taken_in_once_and_one_of_an_unknown_order_holds_up_nobody(shop: Shop) -> None:
    database = shop.bench.database
    (number,) = ready(database)
    LifeStore(database).decide(number, decision(), handover(number))
    take_over_all(database)
    Endings(database).cancel(number, settled, key_id="k", now=NOW)
    (event,) = [OrderEvent.model_validate_json(one) for one in Events(database).after(0, most=9)]
    unknown = event.model_copy(update={"id": event.id + 1, "order": "Q-1999-000001"})
    found = at_once(WRITERS, lambda _: OrderEventInbox(database).take_in([event, unknown]))
    assert sorted(found) == [0, 0, 0, 2]  # type: ignore[type-var]
    assert OrderEventInbox(database).position() == unknown.id
    assert [one["type"] for one in told(shop)] == ["ready", "accepted", "cancelled"]


def test_a_poller_of_four_writers_with_cancellations_among_them_misses_nothing_and_sees_nothing_twice(shop: Shop) -> None:
    database = shop.bench.database
    numbers = ready(database, ORDERS)

    def write(place: int) -> None:
        for count, number in enumerate(numbers[place::WRITERS]):
            LifeStore(database).decide(number, decision(), handover(number))
            if count % 6 == 0:
                take_over_all(database)
                Endings(database).cancel(number, settled, key_id="k", now=NOW)
                take_in_all(database)

    writing = threading.Thread(target=at_once, args=(WRITERS, write))
    writing.start()
    seen: list[tuple[int, str, str]] = []
    position, is_last = 0, False
    while not is_last:
        is_over = not writing.is_alive()
        page = Feed(database).page(after=position, most=70)
        for one in page:
            position = one.position
            entry = EstimateEntry.model_validate_json(one.document)
            seen.append((one.position, entry.type, entry.quote_number))
        is_last = is_over and not page
    ended = [number for place in range(WRITERS) for number in numbers[place::WRITERS][::6]]
    assert sorted(number for _, kind, number in seen if kind == "accepted") == sorted(numbers)
    assert sorted(number for _, kind, number in seen if kind == "cancelled") == sorted(ended)
    assert [place for place, *_ in seen] == sorted({place for place, *_ in seen})


class OrderLife(RuleBasedStateMachine):
    """A quote of three revisions, accepted, changed, cancelled and completed in any order while its two services hear of it late or twice."""

    database: Database

    def __init__(self) -> None:
        super().__init__()
        take_over_all(self.database)
        take_in_all(self.database)
        (self.number,) = ready(self.database)
        for revision in (2, 3):
            requoted(self.database, self.number, revision)
        self.accepted: list[int] = []
        self.handed: list[tuple[int, int | None]] = []
        """Acceptances that orders has not heard of, each with the revision that it changes."""
        self.state, self.booked = "none", 0
        self.events: list[tuple[str, int]] = []
        """What orders has told and quoting has not heard."""
        self.heard_end = False
        self.feed = [("ready", 1), ("ready", 2), ("superseded", 1), ("ready", 3), ("superseded", 2)]

    @rule(revision=st.integers(1, 3), changes=st.booleans())
    def accept(self, revision: int, changes: bool) -> None:
        ordered = self.accepted[-1] if self.accepted else None
        changes_order = (ordered or 1) if changes else None
        row = self.number if revision == 1 else f"{self.number}.{revision}"
        wanted, document = decision(revision, changes_order), handover(row, revision, changes_order)
        life = LifeStore(self.database)
        if revision in self.accepted:
            assert life.decide(row, wanted, document).decision == "accepted"
            return
        refusal = self.refusal(revision, ordered, changes=changes)
        if refusal is not None:
            with pytest.raises(refusal):
                life.decide(row, wanted, document)
            return
        assert life.decide(row, wanted, document) == wanted
        self.accepted.append(revision)
        self.handed.append((revision, changes_order))
        self.feed.append(("accepted", revision))
        if ordered is not None:
            self.feed.append(("superseded", ordered))

    def refusal(self, revision: int, ordered: int | None, *, changes: bool) -> type[Exception] | None:
        """Why an acceptance is refused, if it is."""
        if ordered is None:
            return NothingToChange if changes else None
        if self.heard_end:
            return OrderOver
        return DecisionStands if not changes or revision < ordered else None

    @rule()
    def take_over(self) -> None:
        take_over_all(self.database)
        for revision, changes_order in self.handed:
            if changes_order is None:
                self.state, self.booked = "booked", revision
            elif self.state == "booked":
                self.booked = revision
                self.events.append(("rescheduled", revision))
            else:
                self.events.append(("cancelled", revision))
        self.handed.clear()

    @rule(way=st.sampled_from(["cancelled", "completed"]))
    def end(self, way: str) -> None:
        endings = Endings(self.database)

        def done() -> StoredOrder:
            if way == "cancelled":
                return endings.cancel(self.number, settled, key_id="k", now=NOW)
            return endings.complete(self.number, key_id="k", now=NOW)

        if self.state in ("none", "cancelled", "completed") and self.state != way:
            with pytest.raises(OrderUnknown if self.state == "none" else OrderEnded):
                done()
            return
        assert done().state == way
        if self.state == "booked":
            self.events.append((way, self.booked))
        self.state = way

    @rule()
    def hear(self) -> None:
        take_in_all(self.database)
        self.feed += [event for event in self.events if event[0] != "completed"]
        self.heard_end = self.heard_end or any(kind != "rescheduled" for kind, _ in self.events)
        self.events.clear()

    @invariant()
    def nothing_is_booked_twice_and_the_feed_has_every_event_once(self) -> None:
        (held,) = BookStore(self.database).bookings(orders=[self.number]).values()
        assert sum(one.ticks for one in held) == (self.booked * 600_000 if self.state == "booked" else 0)
        with self.database.transaction() as connection:
            rows = connection.execute(
                text("select type, revision from quoting.feed_entries where quote_number = :n order by position"), {"n": self.number}
            )  # fmt: skip
            assert [tuple(row) for row in rows] == self.feed


def test_accepting_changing_and_ending_in_any_order_come_to_what_they_should(database: Database) -> None:
    OrderLife.database = database
    run_state_machine_as_test(OrderLife, settings=settings(max_examples=6, stateful_step_count=14, deadline=None))
