"""The life of a quote through its routes, on a real PostgreSQL, with every stage done in this process and a clock that is set."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx
import pytest
import redis
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.chassis.keys import Keys
from services.chassis.pipeline import hop
from services.chassis.rate_source import RevisionNotFound
from services.chassis.resources import Resources
from services.chassis.settings import Settings
from services.chassis.web import make_app
from services.quoting.api.parts import the_time
from services.quoting.stage import TERMINUS, sweep
from shared_schemas.pipeline import LAST, STATIONS
from shared_schemas.rates import RateRevision, Rates
from tests.integration.parts import LoadBooks

NOON = datetime(2026, 11, 2, 12, 0, tzinfo=UTC)
DEMO = Path(__file__).resolve().parents[2] / "services" / "desk" / "demo" / "lake_ice_lidar.json"


class Shelf:
    """Travellers in memory."""

    def __init__(self) -> None:
        self._lies: dict[str, dict[str, bytes]] = {}

    def start(self, number: str, attempt: int, job: bytes) -> None:
        self.stamp(number, attempt, {"job": job})

    def read(self, number: str, attempt: int, sections: Iterable[str]) -> dict[str, bytes]:
        lies = self._lies.get(f"{number}:{attempt}", {})
        return {name: lies[name] for name in sections if name in lies}

    def stamp(self, number: str, attempt: int, sections: Mapping[str, bytes]) -> None:
        self._lies.setdefault(f"{number}:{attempt}", {}).update(sections)

    def stamped(self, number: str, attempt: int) -> frozenset[str]:
        return frozenset(self._lies.get(f"{number}:{attempt}", {}))

    def discard(self, number: str, attempt: int) -> None:
        self._lies = {key: lies for key, lies in self._lies.items() if not key.startswith(f"{number}:")}


class Book:
    """Rate revisions in memory; `publish` adds one."""

    def __init__(self, rates: Rates) -> None:
        self._revisions = {1: self._revision(1, rates)}

    def _revision(self, number: int, rates: Rates) -> RateRevision:
        return RateRevision(
            number=number, digest=f"{number:064d}", created_at=NOON, created_by="a test", reason="for a test", rates=rates
        )

    def publish(self, rates: Rates) -> int:
        number = len(self._revisions) + 1
        self._revisions[number] = self._revision(number, rates)
        return number

    def revision(self, number: int) -> RateRevision:
        if number not in self._revisions:
            raise RevisionNotFound(number)
        return self._revisions[number]

    def latest(self) -> RateRevision:
        return self._revisions[max(self._revisions)]


@dataclass(frozen=True)
class Bench(Resources):
    """Resources whose doorbells are kept in a list."""

    rung: list[tuple[str, str, int, str]] = field(default_factory=list)

    def send(self, task: str, queue: str, number: str, attempt: int, trace: str) -> None:
        self.rung.append((task, number, attempt, trace))


class Shop:
    """The application with quoting in it, and everybody who works behind the door."""

    def __init__(
        self, database: Database, rates: Rates, services: tuple[str, ...] = ("quoting",), book: Book | None = None,
        load: LoadBooks | None = None,
    ) -> None:  # fmt: skip
        chosen = Settings(
            database_url="postgresql://u:p@127.0.0.1:1/x", redis_url="redis://127.0.0.1:1/0", rates_url="http://127.0.0.1:1",
            service_key="bw_0_0", services=services,
        )  # fmt: skip
        self.book = book or Book(rates)
        self.load = load or LoadBooks()
        self.bench = Bench(
            settings=chosen,
            database=database,
            travellers=Shelf(),
            rates=self.book,
            load=self.load,
            queue=SimpleNamespace(),
            redis=redis.Redis(port=1),
        )  # type: ignore[arg-type]
        self.now = NOON
        self.app = make_app(self.bench)
        self.app.dependency_overrides[the_time] = lambda: self.now
        keys = Keys(database)
        self.keys = {
            role: keys.add(role=role, label=f"the {role}", now=NOON) for role in ("sales", "erp", "engineer", "admin", "service")
        }

    def ask(
        self, method: str, path: str, *, role: str = "sales", headers: dict[str, str] | None = None, **more: Any
    ) -> httpx.Response:
        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url="http://shop") as client:
                shown = {"Authorization": f"Bearer {self.keys[role]}", **(headers or {})}
                return await client.request(method, path, headers=shown, **more)

        return asyncio.run(asked())

    def get(self, path: str, **more: Any) -> Any:
        answer = self.ask("GET", path, **more)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def work(self, most: int = 10_000) -> int:
        """Do what the doorbells ask for, until nothing is left; how many hops that were."""
        stages = {
            station.task: import_module(f"services.{station.service}.stage").STAGE for station in STATIONS if station is not LAST
        }
        done = 0
        while self.bench.rung and done < most:
            task, number, attempt, trace = self.bench.rung.pop(0)
            if task == LAST.task:
                TERMINUS.arrive(number, attempt, self.bench)
            elif task in stages:
                hop(stages[task], number, attempt, trace, self.bench)
            done += 1
        return done

    def quoted(self, request: dict[str, Any]) -> str:
        answer = self.ask("POST", "/v1/quotes", json=request)
        assert answer.status_code == 202, answer.text
        self.work()
        return str(answer.json()["number"])


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


@pytest.fixture
def request_of_two() -> dict[str, Any]:
    """The first lens of the demo alone, at two quantities: quickly worked out."""
    demo = json.loads(DEMO.read_text(encoding="utf-8"))
    lens = demo["prescription"]
    single = {"title": "one element", "wavelength_nm": lens["wavelength_nm"], "elements": lens["elements"][:1], "spaces": []}
    return {**demo, "prescription": single, "quantities": [5, 25], "customer": "Tarn & Fell"}


def dearer(rates: Rates) -> Rates:
    centres = tuple(row.model_copy(update={"labour_rate_per_h": row.labour_rate_per_h * 2}) for row in rates.work_centres)
    return rates.model_copy(update={"work_centres": centres})


def test_a_requote_is_the_next_revision_at_todays_rates_and_the_first_never_changes(
    shop: Shop, request_of_two: dict[str, Any], rates: Rates
) -> None:
    number = shop.quoted(request_of_two)
    first = shop.ask("GET", f"/v1/quotes/{number}").json()
    assert (first["status"], first["state"], first["revision"], first["latest_revision"]) == ("ready", "open", 1, 1)
    shop.book.publish(dearer(rates))
    shop.now += timedelta(days=3)
    answer = shop.ask("POST", f"/v1/quotes/{number}/requote")
    assert answer.status_code == 202, answer.text
    assert answer.headers["Location"] == f"/v1/quotes/{number}?revision=2"
    assert (answer.json()["number"], answer.json()["revision"]) == (number, 2)
    shop.work()
    second = shop.get(f"/v1/quotes/{number}")
    assert (second["status"], second["revision"], second["rate_revision"], second["quoted_on"]) == ("ready", 2, 2, "2026-11-05")
    assert Decimal(second["breaks"][0]["unit_price"]) > Decimal(first["breaks"][0]["unit_price"])
    again = shop.get(f"/v1/quotes/{number}?revision=1")
    assert again == first | {"latest_revision": 2}
    as_before = shop.ask("POST", f"/v1/quotes/{number}/requote", json={"rate_revision": 1, "changes": {"quantities": [5]}})
    assert as_before.json()["revision"] == 3
    shop.work()
    third = shop.get(f"/v1/quotes/{number}")
    assert (third["rate_revision"], [one["quantity"] for one in third["breaks"]]) == (1, [5])
    assert third["breaks"][0]["lines"] == first["breaks"][0]["lines"]


def test_a_revision_in_work_lets_no_other_begin_and_a_key_makes_one_of_two(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    place = f"/v1/quotes/{number}/requote"
    first = shop.ask("POST", place, headers={"Idempotency-Key": "k"})
    same = shop.ask("POST", place, headers={"Idempotency-Key": "k"})
    assert (first.status_code, same.status_code) == (202, 202)
    assert first.json() == same.json()
    refused = shop.ask("POST", place)
    assert refused.status_code == 409
    assert "Revision 2" in refused.json()["detail"]
    assert "still being worked on" in refused.json()["detail"]
    other = shop.ask("POST", place, headers={"Idempotency-Key": "k"}, json={"changes": {"quantities": [7]}})
    assert other.json()["type"] == "/problems#idempotency-conflict"
    shop.work()
    assert shop.get(f"/v1/quotes/{number}")["latest_revision"] == 2
    late = shop.ask("POST", place, headers={"Idempotency-Key": "k"})
    assert late.json()["revision"] == 2, "a key gives what it was used for, whatever came since"


def test_a_refused_quote_is_mended_by_a_requote(shop: Shop, request_of_two: dict[str, Any]) -> None:
    thick = request_of_two["prescription"]["elements"][0]["centre_thickness_mm"]
    request_of_two["prescription"]["elements"][0]["centre_thickness_mm"] = 0.2
    number = shop.quoted(request_of_two)
    assert shop.get(f"/v1/quotes/{number}")["status"] == "refused"
    elements = [{**request_of_two["prescription"]["elements"][0], "centre_thickness_mm": thick}]
    answer = shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": {"prescription": {"elements": elements}}})
    assert answer.status_code == 202, answer.text
    shop.work()
    assert shop.get(f"/v1/quotes/{number}")["status"] == "ready"
    assert shop.get(f"/v1/quotes/{number}?revision=1")["status"] == "refused"
    assert shop.ask("GET", f"/v1/quotes/{number}/compare?with=1").status_code == 404


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"quantities": [0]}, "/changes/quantities/0"),
        ({"quantities": None}, "/changes/quantities"),
        ({"currency": "XSH"}, "/changes/currency"),
        ({"prescription": {"title": None}}, "/changes/prescription/title"),
        ({"prescription": 7}, "/changes/prescription"),
        ({"quantity": 5}, "/changes/quantity"),
        ({"rate_revision": 1}, "/changes/rate_revision"),
        ({"needed_by": "2020-01-01"}, "/changes/needed_by"),
        (json.loads('{"a":' * 40 + "1" + "}" * 40), "/changes"),
    ],
)
def test_changes_that_make_no_request_are_named_at_their_place(
    shop: Shop, request_of_two: dict[str, Any], changes: dict[str, Any], pointer: str
) -> None:
    number = shop.quoted(request_of_two)
    answer = shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": changes})
    assert answer.status_code == 422, answer.text
    assert pointer in [error["pointer"] for error in answer.json()["errors"]]
    assert shop.get(f"/v1/quotes/{number}")["latest_revision"] == 1


def test_a_patch_changes_one_thing_by_name_and_one_that_expects_another_request_is_in_conflict(
    shop: Shop, request_of_two: dict[str, Any]
) -> None:
    number = shop.quoted(request_of_two)
    name = request_of_two["prescription"]["elements"][0]["name"]
    loosen = {"op": "replace", "path": f"/elements/{name}/front/form", "value": "3/5(2)"}
    expect = {"op": "test", "path": "/quantities/0", "value": 6}
    conflict = shop.ask("POST", f"/v1/quotes/{number}/requote", json={"patch": [loosen, expect]})
    assert (conflict.status_code, conflict.json()["type"]) == (409, "/problems#conflict"), conflict.text
    assert [(one["pointer"], one["figure"], one["limit"]) for one in conflict.json()["errors"]] == [("/patch/1/value", 5, 6)]
    unknown = shop.ask("POST", f"/v1/quotes/{number}/requote", json={"patch": [{**loosen, "path": "/elements/L9/front/form"}]})
    assert (unknown.status_code, unknown.json()["errors"][0]["pointer"]) == (422, "/patch/0/path")
    glass = {"op": "replace", "path": f"/elements/{name}/glass", "value": "N-NONE"}
    of_the_rates = shop.ask("POST", f"/v1/quotes/{number}/requote", json={"patch": [loosen, glass]})
    assert (of_the_rates.status_code, of_the_rates.json()["errors"][0]["pointer"]) == (422, "/patch/1/value")
    assert shop.get(f"/v1/quotes/{number}")["latest_revision"] == 1
    answer = shop.ask("POST", f"/v1/quotes/{number}/requote", json={"patch": [loosen]})
    assert answer.status_code == 202, answer.text
    shop.work()
    changes = {place["pointer"]: place["new"] for place in shop.get(f"/v1/quotes/{number}/compare?with=1")["request"]}
    assert changes == {"/prescription/elements/0/front/form": "3/5(2)"}


def test_a_decision_is_told_once_and_the_same_again_is_the_same_answer(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    place = f"/v1/quotes/{number}/decision"
    order = {"decision": "accepted", "quantity": 25, "by": "R. Lindqvist", "note": "by telephone"}
    unknown = shop.ask("POST", place, json={**order, "quantity": 26})
    assert unknown.status_code == 422
    assert unknown.json()["errors"][0]["pointer"] == "/quantity"
    assert unknown.json()["errors"][0]["limit"] == "5, 25"
    first = shop.ask("POST", place, json=order)
    assert first.status_code == 200, first.text
    aside = {"key_id": "", "at": "", "promised": None}
    unsaid = {**dict.fromkeys(("purchase_order", "customer_number", "contact", "needed_by", "reason")), "late": False}
    assert first.json() | aside == {**order, "number": number, "revision": 1, **unsaid, **aside}
    assert first.json()["key_id"] in shop.keys["sales"]
    shop.now += timedelta(days=400)
    assert shop.ask("POST", place, json=order).json() == first.json(), "also after the day it was valid until"
    other = shop.ask("POST", place, json={"decision": "declined", "by": "R. Lindqvist"})
    assert other.status_code == 409
    assert "was accepted for 25 by R. Lindqvist on 2026-11-02" in other.json()["detail"]
    quote = shop.get(f"/v1/quotes/{number}")
    assert (quote["state"], quote["decision"]) == ("accepted", first.json())


def test_what_is_not_issued_or_has_expired_is_not_decided_on(shop: Shop, request_of_two: dict[str, Any]) -> None:
    order = {"decision": "accepted", "quantity": 5, "by": "R. Lindqvist"}
    number = shop.ask("POST", "/v1/quotes", json=request_of_two).json()["number"]
    early = shop.ask("POST", f"/v1/quotes/{number}/decision", json=order)
    assert (early.status_code, early.json()["type"]) == (409, "/problems#conflict")
    shop.work()
    issued = shop.ask("GET", f"/v1/quotes/{number}").json()
    shop.now = datetime.fromisoformat(issued["valid_until"]).replace(tzinfo=UTC, hour=23)
    assert shop.get(f"/v1/quotes/{number}")["state"] == "open", "the last day counts"
    shop.now += timedelta(days=1)
    expired = shop.get(f"/v1/quotes/{number}")
    assert expired == issued | {"state": "expired"}
    late = shop.ask("POST", f"/v1/quotes/{number}/decision", json=order)
    assert late.status_code == 409
    assert f"/v1/quotes/{number}/requote" in late.json()["detail"]
    assert shop.ask("POST", f"/v1/quotes/{number}/requote").status_code == 202
    shop.work()
    assert shop.get(f"/v1/quotes/{number}")["state"] == "open"
    assert shop.ask("POST", f"/v1/quotes/{number}/decision", json=order).status_code == 200
    assert shop.get(f"/v1/quotes/{number}?revision=1")["decision"] is None


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"decision": "accepted", "by": "x"}, "/quantity"),
        ({"decision": "perhaps", "by": "x"}, "/decision"),
        ({"decision": "declined"}, "/by"),
        ({"decision": "declined", "by": ""}, "/by"),
        ({"decision": "declined", "by": "a\x00b"}, "/by"),
        ({"decision": "declined", "by": "x", "revision": 0}, "/revision"),
        ({"decision": "accepted", "by": "x", "quantity": 0}, "/quantity"),
    ],
)
def test_a_decision_that_says_nothing_usable_is_named_at_its_place(shop: Shop, body: dict[str, Any], pointer: str) -> None:
    answer = shop.ask("POST", "/v1/quotes/Q-2026-000001/decision", json=body)
    assert answer.status_code == 422, answer.text
    assert pointer in [error["pointer"] for error in answer.json()["errors"]]


def test_quotes_are_listed_by_where_they_stand(shop: Shop, request_of_two: dict[str, Any]) -> None:
    opened, accepted, declined, requoted = (shop.quoted(request_of_two) for _ in range(4))
    shop.ask("POST", f"/v1/quotes/{accepted}/decision", json={"decision": "accepted", "quantity": 5, "by": "x"})
    shop.ask("POST", f"/v1/quotes/{declined}/decision", json={"decision": "declined", "by": "x"})
    shop.ask("POST", f"/v1/quotes/{requoted}/decision", json={"decision": "accepted", "quantity": 5, "by": "x"})
    shop.ask("POST", f"/v1/quotes/{requoted}/requote")
    shop.work()

    def listed(state: str) -> list[tuple[str, int]]:
        return [(one["number"], one["revision"]) for one in shop.get(f"/v1/quotes?state={state}")["items"]]

    assert listed("open") == [(opened, 1)], "what is ordered is not open, whatever was quoted since"
    assert listed("accepted") == [(requoted, 1), (accepted, 1)], "an order stays an order when the quote goes on"
    assert listed("declined") == [(declined, 1)]
    assert listed("expired") == []
    shop.now += timedelta(days=400)
    assert listed("open") == []
    assert listed("expired") == [(opened, 1)]
    assert len(listed("accepted")) == 2
    everything = shop.get("/v1/quotes")["items"]
    assert [(one["number"], one["revision"], one["state"]) for one in everything] == [
        (requoted, 1, "accepted"),
        (declined, 1, "declined"),
        (accepted, 1, "accepted"),
        (opened, 1, "expired"),
    ], "each once, by the revision by which it stands"
    assert [one.get("latest_revision") for one in everything] == [2, None, None, None]
    page = shop.get("/v1/quotes?state=accepted&limit=1")
    assert [one["number"] for one in shop.get(f"/v1/quotes?state=accepted&limit=1&cursor={page['next']}")["items"]] == [accepted]
    assert shop.ask("GET", "/v1/quotes?state=lost").status_code == 422


def test_a_comparison_says_what_changed_and_why_to_the_cent(shop: Shop, request_of_two: dict[str, Any], rates: Rates) -> None:
    number = shop.quoted(request_of_two)
    shop.book.publish(dearer(rates))
    changes = {"quantities": [25, 60], "confidence": 0.95}
    shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": changes})
    shop.work()
    found = shop.get(f"/v1/quotes/{number}/compare?with=1")
    assert (found["old"]["revision"], found["new"]["revision"]) == (1, 2)
    assert [(one["pointer"], one["old"], one["new"]) for one in found["request"]] == [
        ("/quantities/0", 5, 25),
        ("/quantities/1", 25, 60),
        ("/confidence", 0.9, 0.95),
    ]
    assert [one["quantity"] for one in found["breaks"]] == [5, 25, 60]
    gone, both, come = found["breaks"]
    assert gone["unit_price"]["new"] is None
    assert come["unit_price"]["old"] is None
    assert Decimal(both["total_price"]["difference"]) > 0
    assert sum(Decimal(line["amount"]["difference"]) for line in both["lines"]) == Decimal(both["total_price"]["difference"])
    assert {row["table"] for row in found["rate_rows"]} == {"work_centres"}
    assert {one["pointer"] for row in found["rate_rows"] for one in row["fields"]} == {"/labour_rate_per_h"}
    back = shop.get(f"/v1/quotes/{number}/compare?with=2&revision=1", role="erp")
    assert Decimal(back["breaks"][1]["total_price"]["difference"]) == -Decimal(both["total_price"]["difference"])
    same = shop.get(f"/v1/quotes/{number}/compare?with=2")
    assert (same["request"], same["rate_rows"]) == ([], [])
    assert {line["amount"]["difference"] for one in same["breaks"] for line in one["lines"]} == {"0.00"}


def test_a_revision_that_is_not_there_is_said_to(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    for path in ("?revision=2", "/compare?with=9", "/explanation?revision=3"):
        answer = shop.ask("GET", f"/v1/quotes/{number}{path}")
        assert answer.status_code == 404, path
        assert "its latest is 1" in answer.json()["detail"]
    assert shop.ask("GET", f"/v1/quotes/{number}?revision=0").status_code == 422
    assert shop.ask("GET", f"/v1/quotes/{number}.2").status_code == 404
    for path in ("requote", "decision"):
        body = {"decision": "declined", "by": "x"} if path == "decision" else {}
        assert shop.ask("POST", f"/v1/quotes/Q-1999-000001/{path}", json=body).status_code == 404
        assert shop.ask("POST", f"/v1/quotes/{number}/{path}", json=body, role="erp").status_code == 403


def test_each_ready_revision_is_an_estimate_of_its_own(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": {"quantities": [60]}})
    shop.work()
    first, second, superseded = shop.get("/v1/estimates", role="erp")["items"]
    assert (superseded["type"], superseded["number"]) == ("superseded", first["number"])
    assert (first["quote_number"], first["revision"], second["quote_number"], second["revision"]) == (number, 1, number, 2)
    assert first["number"] != second["number"]
    estimate = shop.get(f"/v1/estimates/{second['number']}", role="erp")
    assert (estimate["quote_number"], estimate["revision"]) == (number, 2)
    assert [one["quantity"] for one in estimate["quantities"]] == [60]


def test_no_row_of_an_issued_quote_can_be_changed_even_by_hand(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    shop.ask("POST", f"/v1/quotes/{number}/decision", json={"decision": "declined", "by": "x"})
    waiting = shop.ask("POST", f"/v1/quotes/{number}/requote").json()
    assert waiting["revision"] == 2
    for statement in (
        "update quoting.outcomes set digest = 'x'",
        "delete from quoting.outcomes",
        "update quoting.quotes set attempt = 9 where revision = 1",
        "update quoting.quotes set rate_revision = 9 where revision = 2",
        "update quoting.quotes set request = ''::bytea where revision = 2",
        "delete from quoting.quotes where revision = 2",
        "update quoting.decisions set decided_by = 'y'",
        "delete from quoting.decisions",
    ):
        with pytest.raises(DBAPIError, match="never"), shop.bench.database.transaction() as connection:
            connection.execute(text(statement))


def test_a_batch_is_all_or_nothing_and_names_each_request_to_mend(shop: Shop, request_of_two: dict[str, Any]) -> None:
    requests = [request_of_two] * 3 + [{**request_of_two, "currency": "XSH"}, {**request_of_two, "quantities": [0]}]
    answer = shop.ask("POST", "/v1/quote-batches", json={"requests": requests})
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == ["/requests/4/quantities/0"]
    answer = shop.ask("POST", "/v1/quote-batches", json={"requests": requests[:4]})
    assert [error["pointer"] for error in answer.json()["errors"]] == ["/requests/3/currency"]
    assert shop.get("/v1/quotes")["items"] == []
    assert shop.bench.rung == []


def test_a_batch_goes_into_the_queues_a_few_at_a_time_and_all_of_it_arrives(shop: Shop, request_of_two: dict[str, Any]) -> None:
    requests = [{**request_of_two, "customer": f"customer {n}"} for n in range(20)]
    headers = {"Idempotency-Key": "b"}
    answer = shop.ask("POST", "/v1/quote-batches", json={"requests": requests}, headers=headers)
    assert answer.status_code == 202, answer.text
    accepted = answer.json()
    place = f"/v1/quote-batches/{accepted['number']}"
    assert answer.headers["Location"] == place == accepted["links"]["self"]
    assert len(set(accepted["quotes"])) == 20
    assert len(shop.bench.rung) == shop.bench.settings.most_in_flight
    assert shop.ask("POST", "/v1/quote-batches", json={"requests": requests}, headers=headers).json() == accepted
    before = shop.get(place)
    assert (before["status"], before["counts"]) == (
        "in_work",
        {"in_work": 20, "ready": 0, "refused": 0, "failed": 0, "cancelled": 0},
    )
    shop.work()
    after = shop.get(place + "?limit=15")
    assert (after["status"], after["counts"]["ready"]) == ("finished", 20)
    rest = shop.get(f"{place}?cursor={after['next']}")
    items = after["items"] + rest["items"]
    assert rest["next"] is None
    assert [one["number"] for one in items] == accepted["quotes"]
    assert [(one["place"], one["customer"]) for one in items] == [(n, f"customer {n}") for n in range(20)]
    assert shop.ask("GET", "/v1/quote-batches/B-1999-000001").status_code == 404
    assert shop.ask("GET", "/v1/quote-batches/%00").status_code == 404
    finished = shop.ask("POST", "/v1/quote-batches", json={"requests": requests}, headers={**headers, "Prefer": "wait=5"})
    assert (finished.status_code, finished.headers["Preference-Applied"]) == (200, "wait=5")
    assert finished.json()["status"] == "finished"


@pytest.mark.parametrize(("size", "limit"), [(0, 1), (1001, 1000)])
def test_a_batch_of_none_or_too_many_is_refused(shop: Shop, size: int, limit: int) -> None:
    answer = shop.ask("POST", "/v1/quote-batches", json={"requests": [{}] * size})
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert (error["pointer"], error["limit"]) == ("/requests", limit)


def test_a_batch_may_be_larger_than_other_bodies_but_not_without_end(shop: Shop) -> None:
    body = b'{"requests": [' + b" " * (2 * 1024 * 1024) + b"]}"
    assert shop.ask("POST", "/v1/quote-batches", content=body, headers={"Content-Type": "application/json"}).status_code == 422
    assert shop.ask("POST", "/v1/quotes", content=body, headers={"Content-Type": "application/json"}).status_code == 413
    endless = b" " * (16 * 1024 * 1024 + 1)
    assert shop.ask("POST", "/v1/quote-batches", content=endless).status_code == 413


def test_who_prefers_to_wait_gets_the_finished_quote(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    plain = shop.ask("POST", "/v1/quotes", json=request_of_two, headers={"Prefer": "wait=-1"})
    assert (plain.status_code, "Preference-Applied" in plain.headers) == (202, False), "what cannot be read is passed over"
    late = shop.ask("POST", "/v1/quotes", json=request_of_two, headers={"Prefer": "respond-async, wait=1", "Idempotency-Key": "w"})
    assert (late.status_code, late.headers["Preference-Applied"]) == (202, "wait=1")
    shop.work()
    done = shop.ask("POST", "/v1/quotes", json=request_of_two, headers={"Prefer": "WAIT = 10; why=now", "Idempotency-Key": "w"})
    assert (done.status_code, done.headers["Preference-Applied"]) == (200, "wait=10")
    assert done.headers["Location"] == f"/v1/quotes/{done.json()['number']}"
    assert (done.json()["status"], done.json()["state"]) == ("ready", "open")
    assert done.json()["digest"] == shop.get(f"/v1/quotes/{number}")["digest"]


def test_a_full_queue_takes_no_requote(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    full = replace(shop.bench, settings=shop.bench.settings.model_copy(update={"most_unfinished": 1}))
    shop.app.state.resources = full
    assert shop.ask("POST", "/v1/quotes", json=request_of_two).status_code == 202
    answer = shop.ask("POST", f"/v1/quotes/{number}/requote")
    assert answer.status_code == 503
    assert answer.headers["Retry-After"]


def test_a_batch_whose_doorbells_were_not_heard_is_started_by_the_sweeper(
    shop: Shop, request_of_two: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def deaf(self: Bench, task: str, queue: str, number: str, attempt: int, trace: str) -> None:
        raise ConnectionError("nobody there")

    with monkeypatch.context() as away:
        away.setattr(Bench, "send", deaf)
        answer = shop.ask("POST", "/v1/quote-batches", json={"requests": [request_of_two] * 6})
    assert answer.status_code == 202, "the caller is told that it is accepted all the same"
    assert shop.bench.rung == []
    sweep(shop.bench)
    shop.work()
    assert shop.get(answer.headers["Location"])["counts"]["ready"] == 6


def test_a_quote_is_one_order_and_the_erp_is_told_of_it(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    order = {"decision": "accepted", "quantity": 5, "by": "x"}
    shop.ask("POST", f"/v1/quotes/{number}/requote")
    shop.work()
    before = shop.get("/v1/estimates", role="erp")
    assert [item["decision"] for item in before["items"]] == [None, None, None]
    assert shop.ask("POST", f"/v1/quotes/{number}/decision", json=order | {"revision": 1}).status_code == 200
    second = shop.ask("POST", f"/v1/quotes/{number}/decision", json=order | {"revision": 2})
    assert second.status_code == 409
    assert f"Revision 1 of quote {number} was accepted for 5 by x" in second.json()["detail"]
    (fresh,) = shop.get(f"/v1/estimates?after={before['next']}", role="erp")["items"]
    assert (fresh["decision"]["decision"], fresh["decision"]["quantity"], fresh["revision"]) == ("accepted", 5, 1)
    estimate = shop.get(f"/v1/estimates/{fresh['number']}", role="erp")
    assert estimate["decision"] == fresh["decision"]
    assert all(one["ship_date"] for one in estimate["quantities"])
