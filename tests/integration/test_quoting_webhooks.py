"""Webhooks on a real PostgreSQL: every entry of the feed reaches every endpoint that wants it, in order, at least once, whatever happens meanwhile."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from cloudevents.core.bindings.http import HTTPMessage, from_http_event
from sqlalchemy import text
from standardwebhooks import Webhook

from services.chassis.audit import AuditLog
from services.chassis.database import Database
from services.chassis.epoch import begin_epoch
from services.quoting.service.keeping import forget_what_is_over
from services.quoting.store.life import LifeStore
from services.quoting.store.webhook_deliveries import Deliveries, standing_of_webhooks
from services.quoting.webhooks.delivering import Deliverer, deliver, verdict_on
from services.quoting.webhooks.sending import Answer
from shared_schemas.rates import Rates
from tests.integration.test_quoting_feed import accepted, declined, ready
from tests.integration.test_quoting_life_routes import NOON, Shop
from tests.unit.quoting.test_quoting_webhook_targets import LOOPBACK, TAKEN, receiving

PUBLIC = "https://8.8.8.8"
"""Written as a number, so that no name is looked up; nothing is sent there."""


@dataclass
class Outside:
    """Endpoints as they are outside: `answers` has what each path answers in turn, the last for ever; `got` what came."""

    answers: dict[str, list[Answer]] = field(default_factory=dict)
    got: list[tuple[str, Mapping[str, str], bytes]] = field(default_factory=list)
    now: datetime = NOON

    def __call__(self, url: str, headers: Mapping[str, str], body: bytes) -> Answer:
        path = url.removeprefix(PUBLIC)
        self.got.append((path, headers, body))
        left = self.answers.get(path, [Answer(200)])
        return left.pop(0) if len(left) > 1 else left[0]

    def told(self, path: str = "/a") -> list[tuple[str, str]]:
        """Type and number of each message that came to a path."""
        bodies = [json.loads(body) for at, _, body in self.got if at == path]
        return [(body["type"].split(".")[1], body["subject"]) for body in bodies]

    def ids(self) -> list[str]:
        return [headers["webhook-id"] for _, headers, _ in self.got]


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


@pytest.fixture
def outside() -> Outside:
    return Outside()


@pytest.fixture
def work(database: Database, outside: Outside) -> Callable[..., int]:
    """`work()` delivers all that is due, as one run of the worker does, at the moment that `outside` has."""

    def ran(now: datetime | None = None) -> int:
        outside.now = now or outside.now
        store = Deliveries(database)
        store.make(now=outside.now)
        return Deliverer(store, outside, "/shop/v1/estimates", now=lambda: outside.now, chance=lambda: 0.5).work(
            for_s=1e6, clock=lambda: 0.0
        )

    return ran


def made(shop: Shop, path: str = "/a", **more: Any) -> tuple[str, str]:
    """Id and secret of a new endpoint."""
    answer = shop.ask("POST", "/v1/webhooks", role="admin", json={"url": PUBLIC + path, **more})
    assert answer.status_code == 201, answer.text
    document = answer.json()
    assert answer.headers["Location"] == f"/v1/webhooks/{document['info']['id']}"
    return document["info"]["id"], document["secret"]


def estimate(number: str) -> str:
    return number.replace("Q", "E", 1)


def deliveries(shop: Shop, endpoint: str, query: str = "") -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = shop.get(f"/v1/webhooks/{endpoint}/deliveries?{query}", role="erp")["items"]
    return items


def info(shop: Shop, endpoint: str) -> dict[str, Any]:
    found: dict[str, Any] = shop.get(f"/v1/webhooks/{endpoint}", role="erp")
    return found


def test_a_message_is_signed_names_its_entry_and_carries_it(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    before = ready(database)
    shop.now = datetime.now(UTC)  # the receiver's library takes no message that is older than some minutes
    _, secret = made(shop)
    LifeStore(database).decide(before[0], accepted())
    assert work(shop.now) == 1
    ((_, headers, body),) = outside.got
    assert Webhook(secret).verify(body, dict(headers)) == json.loads(body)
    event = from_http_event(HTTPMessage(headers={"content-type": headers["Content-Type"]}, body=body))
    entry = shop.get("/v1/estimates", role="erp")["items"][-1]
    assert event.get_data() == entry, "the entry as the feed has it, and nothing of what was before the endpoint"
    assert event.get_id() == headers["webhook-id"] == f"{entry['epoch']}-{entry['id']}"
    assert (event.get_type(), event.get_subject()) == ("estimate.accepted.v1", entry["number"])
    assert shop.get(event.get_extension("entrylink"), role="erp")["items"] == [entry]


def test_every_endpoint_is_told_of_what_it_wants_in_the_order_of_the_feed(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    made(shop, "/all")
    made(shop, "/orders", types=["accepted", "cancelled"])
    first, second = ready(database, 2)
    LifeStore(database).decide(second, accepted())
    LifeStore(database).decide(first, declined())
    work()
    whole = [("ready", estimate(first)), ("ready", estimate(second)), ("accepted", estimate(second)), ("declined", estimate(first))]
    assert outside.told("/all") == whole
    assert outside.told("/orders") == [whole[2]]
    assert work() == 0


def test_what_is_not_taken_is_sent_again_and_nothing_passes_it(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    endpoint, _ = made(shop)
    outside.answers["/a"] = [Answer(500), Answer(None, "no answer within 10 s"), Answer(200)]
    numbers = [estimate(number) for number in ready(database, 3)]
    assert work() == 1
    stands = info(shop, endpoint)
    assert (stands["failures"], stands["waiting"]) == (1, 3)
    assert work(NOON + timedelta(seconds=4)) == 0
    assert work(NOON + timedelta(seconds=5)) == 1
    assert deliveries(shop, endpoint)[-1] | {"id": 0} == {
        "id": 0, "message_id": outside.ids()[0], "type": "ready", "entry": 1, "epoch": shop.bench.epoch.token, "state": "waiting", "attempts": 2,
        "created_at": "2026-11-02T12:00:00Z", "give_up_at": "2026-11-03T12:00:00Z", "last_tried_at": "2026-11-02T12:00:05Z",
        "last_status": None, "last_fault": "no answer within 10 s", "settled_at": None,
    }  # fmt: skip
    assert work(NOON + timedelta(seconds=35)) == 3
    assert [number for _, number in outside.told()] == [numbers[0], numbers[0], *numbers]
    assert outside.ids()[0] == outside.ids()[1] == outside.ids()[2]
    assert len({body for _, _, body in outside.got[:3]}) == 1, "the same bytes each time"
    assert (info(shop, endpoint)["failures"], info(shop, endpoint)["waiting"]) == (0, 0)


def test_a_process_that_dies_before_it_wrote_down_what_was_sent_sends_it_again_under_the_same_id(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    endpoint, _ = made(shop)
    ready(database, 2)

    class Killed(BaseException):
        pass

    class Dying(Outside):
        def __call__(self, url: str, headers: Mapping[str, str], body: bytes) -> Answer:
            outside(url, headers, body)
            raise Killed

    store = Deliveries(database)
    store.make(now=NOON)
    with pytest.raises(Killed):
        Deliverer(store, Dying(), "/shop", now=lambda: NOON).deliver_one()
    assert work(NOON + timedelta(seconds=59)) == 0, "somebody may still be sending it"
    assert work(NOON + timedelta(seconds=61)) == 2
    first, again, second = outside.ids()
    assert (first == again, first != second) == (True, True)
    assert {one["state"] for one in deliveries(shop, endpoint)} == {"delivered"}


def test_a_record_that_comes_after_somebody_else_took_over_counts_only_where_it_was_taken(
    shop: Shop, database: Database, work: Callable[..., int]
) -> None:
    endpoint, _ = made(shop)
    ready(database)
    store = Deliveries(database)
    store.make(now=NOON)
    slow = store.claim(now=NOON)
    assert slow is not None
    assert store.claim(now=NOON) is None, "one at a time"
    later = NOON + timedelta(seconds=61)
    other = store.claim(now=later)
    assert other is not None
    assert (other.delivery, other.lease != slow.lease) == (slow.delivery, True)
    store.record(slow, verdict_on(slow, Answer(500), now=later, chance=0.5), now=later)
    assert deliveries(shop, endpoint)[0]["attempts"] == 0
    store.record(slow, verdict_on(slow, Answer(200), now=later, chance=0.5), now=later)
    assert deliveries(shop, endpoint)[0]["state"] == "delivered"
    store.record(other, verdict_on(other, Answer(500), now=later, chance=0.5), now=later)
    assert (deliveries(shop, endpoint)[0]["state"], store.is_due(now=later)) == ("delivered", False)


def test_after_a_day_a_message_is_dead_and_those_behind_it_go_on(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    endpoint, _ = made(shop)
    poison, *others = ready(database, 3)

    class Choosy(Outside):
        def __call__(self, url: str, headers: Mapping[str, str], body: bytes) -> Answer:
            outside(url, headers, body)
            return Answer(500 if json.loads(body)["subject"] == estimate(poison) else 200)

    store, now = Deliveries(database), NOON
    store.make(now=now)
    for _ in range(20):
        Deliverer(store, Choosy(), "/shop", now=lambda: now, chance=lambda: 0.5).work(for_s=1e6, clock=lambda: 0.0)  # noqa: B023
        now = datetime.fromisoformat(info(shop, endpoint)["next_try_at"])
    assert outside.told()[-2:] == [("ready", estimate(number)) for number in others]
    (dead,) = deliveries(shop, endpoint, "state=dead")
    assert (dead["last_status"], dead["settled_at"]) == (500, "2026-11-03T12:00:00Z")
    assert dead["attempts"] == len(outside.got) - 2
    assert standing_of_webhooks(database).dead == 1
    assert info(shop, endpoint)["dead"] == 1


def test_dead_messages_are_replayed_one_or_all_since_a_moment_under_their_own_ids(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    endpoint, _ = made(shop)
    outside.answers["/a"] = [Answer(503)]
    ready(database, 2)
    work()
    ready(database)
    work(NOON + timedelta(hours=1))
    assert work(NOON + timedelta(days=2)) == 3, "each is tried before it is given up on"
    dead = deliveries(shop, endpoint, "state=dead")
    assert len(dead) == 3
    first_ids = [one["message_id"] for one in dead]
    outside.answers["/a"] = [Answer(200)]
    shop.now = outside.now
    place = f"/v1/webhooks/{endpoint}"
    one = shop.ask("POST", f"{place}/deliveries/{dead[-1]['id']}/replay", role="erp")
    assert (one.status_code, one.json()["state"]) == (202, "waiting")
    again = shop.ask("POST", f"{place}/deliveries/{dead[-1]['id']}/replay", role="erp")
    assert (again.status_code, again.json()["type"]) == (409, "/problems#not-replayable")
    since = shop.ask("POST", f"{place}/replay", role="erp", json={"since": (NOON + timedelta(minutes=30)).isoformat()})
    assert (since.status_code, since.json()) == (202, {"replayed": 1})
    outside.got.clear()
    assert work() == 2
    assert outside.ids() == [first_ids[2], first_ids[0]]
    assert shop.ask("POST", f"{place}/replay", role="erp").json() == {"replayed": 1}
    assert shop.ask("POST", f"{place}/replay", role="erp").json() == {"replayed": 0}
    assert work() == 1
    assert {one["state"] for one in deliveries(shop, endpoint)} == {"delivered"}
    replays = AuditLog(database).page(most=9, action="webhook.replay")
    assert [entry.details for entry in replays] == [{"deliveries": 1}, {"deliveries": 1}, {"delivery": dead[-1]["id"]}]


def test_an_endpoint_that_says_it_is_gone_is_paused_and_told_of_everything_when_it_is_resumed(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    endpoint, _ = made(shop)
    outside.answers["/a"] = [Answer(410), Answer(200)]
    numbers = ready(database, 2)
    assert work() == 1
    stands = info(shop, endpoint)
    assert (stands["paused_why"], stands["waiting"]) == ("gone", 2)
    (entry,) = AuditLog(database).page(most=9, action="webhook.pause")
    assert (entry.by, entry.subject, entry.details) == ("blankwright", f"webhook {endpoint}", {"host": "8.8.8.8", "why": "gone"})
    numbers += ready(database)
    assert work(NOON + timedelta(days=3)) == 0
    assert standing_of_webhooks(database).gone == 1
    shop.now = outside.now
    resumed = shop.ask("PATCH", f"/v1/webhooks/{endpoint}", role="admin", json={"paused": False})
    assert (resumed.json()["paused_at"], resumed.json()["paused_why"]) == (None, None)
    assert deliveries(shop, endpoint)[0]["give_up_at"] == "2026-11-06T12:00:00Z", "a day from now on"
    assert work() == 3
    assert [number for _, number in outside.told()][1:] == [estimate(number) for number in numbers]


def test_an_endpoint_that_is_paused_by_hand_waits_in_the_feed(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    endpoint, _ = made(shop)
    shop.ask("PATCH", f"/v1/webhooks/{endpoint}", role="admin", json={"paused": True})
    ready(database, 2)
    assert (work(), deliveries(shop, endpoint), info(shop, endpoint)["paused_why"]) == (0, [], "asked")
    shop.ask("PATCH", f"/v1/webhooks/{endpoint}", role="admin", json={"paused": False, "types": ["accepted"]})
    assert work() == 0
    assert info(shop, endpoint)["types"] == ["accepted"]


def test_a_restored_backup_neither_tells_everything_again_nor_leaves_anything_out(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    endpoint, _ = made(shop)
    ready(database, 2)
    assert work() == 2
    waiting = ready(database)
    begin_epoch(database, ["quoting", "rates", "orders"], now=NOON, why="a test")
    after = ready(database)
    outside.got.clear()
    assert work(NOON + timedelta(minutes=5)) == 2
    assert [number for _, number in outside.told()] == [estimate(number) for number in waiting + after]
    tokens = [one.split("-")[0] for one in outside.ids()]
    assert tokens[0] != tokens[1], "an entry is of the epoch in which it happened"
    assert [one["entry"] for one in deliveries(shop, endpoint)] == sorted(
        (one["entry"] for one in deliveries(shop, endpoint)), reverse=True
    )


def test_while_a_secret_is_exchanged_both_sign_and_afterwards_the_new_one_alone(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    shop.now = datetime.now(UTC)
    endpoint, old = made(shop)
    answer = shop.ask("POST", f"/v1/webhooks/{endpoint}/rotate", role="admin", json={"overlap_hours": 3})
    assert (answer.status_code, answer.json()["info"]["secrets"]) == (201, 2)
    new = answer.json()["secret"]
    ready(database)
    work(shop.now)
    (_, headers, body) = outside.got[-1]
    for secret in (old, new):
        Webhook(secret).verify(body, dict(headers))
    ready(database)
    work(shop.now + timedelta(hours=3, seconds=1))
    assert len(outside.got[-1][1]["webhook-signature"].split()) == 1
    at_once = shop.ask("POST", f"/v1/webhooks/{endpoint}/rotate", role="admin", json={"overlap_hours": 0}).json()
    assert at_once["info"]["secrets"] == 1


def test_a_test_is_sent_at_once_also_while_the_endpoint_is_paused_and_is_tried_once(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    endpoint, _ = made(shop)
    shop.ask("PATCH", f"/v1/webhooks/{endpoint}", role="admin", json={"paused": True})
    outside.answers["/a"] = [Answer(404), Answer(204)]
    states = []
    for _ in range(2):
        asked = shop.ask("POST", f"/v1/webhooks/{endpoint}/test", role="erp")
        assert (asked.status_code, asked.json()["state"]) == (202, "waiting")
        assert work() == 1
        states.append(shop.get(asked.headers["Location"], role="erp"))
    assert [(one["state"], one["last_status"], one["attempts"]) for one in states] == [("failed", 404, 1), ("delivered", 204, 1)]
    assert json.loads(outside.got[0][2])["type"] == "webhook.test.v1"
    assert outside.ids()[0] != outside.ids()[1]
    assert info(shop, endpoint)["paused_why"] == "asked"
    assert work() == 0


def test_several_workers_send_each_message_once_and_in_order(shop: Shop, database: Database) -> None:
    for path in ("/a", "/b", "/c"):
        made(shop, path)
    ready(database, 12)
    outside, guard = Outside(), threading.Lock()

    def send(url: str, headers: Mapping[str, str], body: bytes) -> Answer:
        with guard:
            return outside(url, headers, body)

    store = Deliveries(database)
    threads = [
        threading.Thread(target=lambda: (store.make(now=NOON), Deliverer(store, send, "/s", now=lambda: NOON).work(for_s=60)))
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    Deliverer(store, send, "/s", now=lambda: NOON).work(for_s=60)  # what came while the last of them looked
    for path in ("/a", "/b", "/c"):
        numbers = [number for _, number in outside.told(path)]
        assert numbers == sorted(set(numbers)), path
        assert len(numbers) == 12, path


@pytest.mark.parametrize(("url", "why"), [
    ("https://127.0.0.1/x", "127.0.0.1 is not a public address"),
    ("https://[::1]:8443/x", "::1 is not a public address"),
    ("https://169.254.169.254/latest", "169.254.169.254 is not a public address"),
    ("https://[64:ff9b::a00:1]/", "64:ff9b::a00:1 is not a public address"),
    ("https://localhost/x", "localhost is at"),
    ("http://8.8.8.8/x", "it is not https, and the settings do not allow http"),
    ("https://me:pw@8.8.8.8/", "it carries a name or a password"),  # pragma: allowlist secret
])  # fmt: skip
def test_an_endpoint_where_nothing_may_be_sent_is_named_and_not_kept(shop: Shop, url: str, why: str) -> None:
    endpoint, _ = made(shop)
    for method, place in (("POST", "/v1/webhooks"), ("PATCH", f"/v1/webhooks/{endpoint}")):
        answer = shop.ask(method, place, role="admin", json={"url": url})
        assert answer.status_code == 422, answer.text
        (detail,) = answer.json()["errors"]
        assert (detail["pointer"], why in detail["reason"]) == ("/url", True), detail
    assert [one["url"] for one in shop.get("/v1/webhooks", role="erp")["items"]] == [PUBLIC + "/a"]


def test_what_is_asked_of_an_endpoint_that_is_not_there_is_named(shop: Shop) -> None:
    endpoint, _ = made(shop)
    assert shop.ask("GET", "/v1/webhooks/wh_00", role="erp").status_code == 404
    for method, place in (
        ("PATCH", ""),
        ("DELETE", ""),
        ("POST", "/rotate"),
        ("POST", "/test"),
        ("POST", "/replay"),
        ("GET", "/deliveries"),
    ):
        role = "erp" if place in ("/test", "/replay", "/deliveries") else "admin"
        body = {"json": {"paused": True}} if method == "PATCH" else {}
        assert shop.ask(method, f"/v1/webhooks/wh_00{place}", role=role, **body).status_code == 404, place
    assert shop.ask("GET", f"/v1/webhooks/{endpoint}/deliveries/7", role="erp").status_code == 404
    assert shop.ask("POST", f"/v1/webhooks/{endpoint}/deliveries/7/replay", role="erp").status_code == 404
    for wrong in ({"url": PUBLIC, "types": ["sold"]}, {"url": ""}, {"url": PUBLIC, "secret": "x"}, {}):
        assert shop.ask("POST", "/v1/webhooks", role="admin", json=wrong).status_code == 422, wrong
    assert shop.ask("GET", f"/v1/webhooks/{endpoint}/deliveries?state=lost", role="erp").status_code == 422


def test_there_are_no_more_endpoints_than_the_settings_allow(database: Database, rates: Rates) -> None:
    shop = Shop(database, rates)
    for place in range(shop.bench.settings.most_webhooks):
        made(shop, f"/{place}")
    answer = shop.ask("POST", "/v1/webhooks", role="admin", json={"url": PUBLIC})
    assert (answer.status_code, "no more may be" in answer.json()["detail"]) == (409, True)


def test_a_secret_is_shown_once_and_every_change_stands_in_the_audit_log_without_it(shop: Shop, database: Database) -> None:
    endpoint, secret = made(shop, "/hooks/token-of-theirs")
    rotated = shop.ask("POST", f"/v1/webhooks/{endpoint}/rotate", role="admin").json()["secret"]
    shop.ask("PATCH", f"/v1/webhooks/{endpoint}", role="admin", json={"description": "the ERP"})
    shop.ask("PATCH", f"/v1/webhooks/{endpoint}", role="admin", json={})
    shown = json.dumps([info(shop, endpoint), shop.get("/v1/webhooks", role="erp")])
    removed = shop.ask("DELETE", f"/v1/webhooks/{endpoint}", role="admin")
    assert (removed.status_code, removed.json()["description"]) == (200, "the ERP")
    assert shop.get("/v1/webhooks", role="erp")["items"] == []
    entries = [entry for entry in AuditLog(database).page(most=20) if entry.subject == f"webhook {endpoint}"]
    assert [entry.action for entry in entries] == ["webhook.remove", "webhook.change", "webhook.rotate", "webhook.make"]
    assert entries[-1].details == {"host": "8.8.8.8", "types": []}
    told = "".join(entry.model_dump_json() for entry in entries)
    for text_of_secret in (secret, rotated):
        assert text_of_secret not in shown + told
    assert "token-of-theirs" not in told


@pytest.fixture
def sending(shop: Shop) -> Iterator[tuple[Shop, Any]]:
    """A shop whose settings allow loopback and http, and a receiver there."""
    with receiving(TAKEN) as receiver:
        networks = tuple(map(str, LOOPBACK))
        allowed = shop.bench.settings.model_copy(update={"webhook_http": True, "webhook_networks": networks})
        shop.bench = replace(shop.bench, settings=allowed)
        shop.app.state.resources = shop.bench
        yield shop, receiver


def test_the_task_of_the_worker_sends_over_the_network_what_is_due(sending: tuple[Shop, Any], database: Database) -> None:
    shop, receiver = sending
    answer = shop.ask("POST", "/v1/webhooks", role="admin", json={"url": f"http://127.0.0.1:{receiver.port}/in"})
    assert answer.status_code == 201, answer.text
    shop.ask("POST", f"/v1/webhooks/{answer.json()['info']['id']}/test", role="erp")
    ready(database, 2)
    deliver(shop.bench)
    assert len(receiver.sent) == 3
    for request in receiver.sent:
        head, _, body = request.partition(b"\r\n\r\n")
        headers = {name.decode(): value.decode() for name, _, value in (line.partition(b": ") for line in head.splitlines()[1:])}
        Webhook(answer.json()["secret"]).verify(body, headers)
    deliver(shop.bench)
    assert len(receiver.sent) == 3


def test_a_network_that_is_no_longer_allowed_is_refused_at_delivery(sending: tuple[Shop, Any], database: Database) -> None:
    shop, receiver = sending
    endpoint = shop.ask("POST", "/v1/webhooks", role="admin", json={"url": f"http://127.0.0.1:{receiver.port}/in"}).json()["info"][
        "id"
    ]
    ready(database)
    deliver(replace(shop.bench, settings=shop.bench.settings.model_copy(update={"webhook_networks": ()})))
    assert receiver.sent == []
    (waits,) = deliveries(shop, endpoint)
    assert (waits["state"], waits["last_fault"]) == ("waiting", "refused: 127.0.0.1 is not a public address")


def test_deliveries_that_are_settled_are_forgotten_after_some_weeks(
    shop: Shop, database: Database, outside: Outside, work: Callable[..., int]
) -> None:
    shop.now = datetime.now(UTC) - timedelta(days=31)
    endpoint, _ = made(shop)
    ready(database, 2)
    work(shop.now)
    outside.answers["/a"] = [Answer(500)]
    ready(database)
    work()
    assert len(deliveries(shop, endpoint)) == 3
    forget_what_is_over(shop.bench)
    assert [one["state"] for one in deliveries(shop, endpoint)] == ["waiting"]


def test_deliveries_come_in_pages_newest_first(shop: Shop, database: Database, work: Callable[..., int]) -> None:
    endpoint, _ = made(shop)
    ready(database, 5)
    work()
    first = shop.get(f"/v1/webhooks/{endpoint}/deliveries?limit=3", role="erp")
    rest = shop.get(f"/v1/webhooks/{endpoint}/deliveries?limit=3&cursor={first['next']}", role="erp")
    assert [one["entry"] for one in first["items"] + rest["items"]] == [5, 4, 3, 2, 1]
    assert rest["next"] is None


def test_a_lease_that_a_clock_set_back_moved_away_holds_nobody(shop: Shop, database: Database, work: Callable[..., int]) -> None:
    made(shop)
    ready(database)
    with database.transaction() as connection:
        connection.execute(
            text("update quoting.webhook_endpoints set lease = 'x', leased_until = :at"), {"at": NOON + timedelta(days=1)}
        )
    assert work() == 1
