"""What failed is kept, read and replayed; what is ready is never touched; a full queue says so."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest
from sqlalchemy import text

from services.chassis.database import Database
from services.chassis.keys import Keys
from services.chassis.pipeline import LAST_FAULT
from services.chassis.resources import Resources, build_resources
from services.chassis.web import make_app
from services.quoting import stage
from services.quoting.errors import QueueFull
from services.quoting.store.bounds import Bounds
from services.quoting.store.letters import DeadLetters
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import DeadLetter, IdempotencyKey, NewQuote, Outcome, Start
from services.quoting.store.searching import ListedQuote, QuoteList, Search
from shared_schemas.rates import Rates
from tests.bench.lenses import chain_of_lenses
from tests.integration.parts import OneRevision, settings_on

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
READY = Outcome("ready", "d1", body=b'{"a":1}', blanks=b"{}", operations=b"{}")
PROBLEM = b'{"type":"/problems#stage-failed","title":"It broke","status":500,"detail":"so it is"}'
FAILED = Outcome("failed", "d2", problem=PROBLEM)
LETTER = DeadLetter("glass", PROBLEM, "Traceback of the glass stage", "celery=5.7.0")
REQUEST = {"prescription": chain_of_lenses(1).model_dump(mode="json"), "quantities": [5]}


def listed(database: Database) -> list[ListedQuote]:
    """What the list of quotes has."""
    found, _ = QuoteList(database).page(Search(today=NOW.date(), now=NOW), before=None, most=99)
    return found


@pytest.fixture
def tools(database: Database, broker_port: int, rates: Rates) -> Iterator[Resources]:
    made = build_resources(settings_on(broker_port, services="quoting", most_unfinished=3))
    made.redis.flushall()
    yield replace(made, database=database, rates=OneRevision(rates))
    made.queue.close()
    made.redis.close()


@pytest.fixture
def store(database: Database) -> QuoteStore:
    return QuoteStore(database)


@pytest.fixture
def ask(tools: Resources) -> Any:
    """`ask(role, method, path)` is an answer to a caller with a key of that role."""
    keys = Keys(tools.database)
    known = {role: keys.add(role=role, label=f"{role} of a test", now=NOW) for role in ("sales", "erp", "admin")}
    transport = httpx.ASGITransport(make_app(tools), raise_app_exceptions=False)

    async def asked(role: str, method: str, path: str, headers: dict[str, str], **more: Any) -> httpx.Response:
        async with httpx.AsyncClient(transport=transport, base_url="http://shop") as client:
            return await client.request(method, path, headers={"Authorization": f"Bearer {known[role]}", **headers}, **more)

    return lambda role, method, path, headers=None, **more: asyncio.run(asked(role, method, path, headers or {}, **more))


def accepted(store: QuoteStore, key: IdempotencyKey | None = None, **limits: int) -> Start:
    new = NewQuote(request=b"{}", customer="Tarn & Fell", title="A lens", rate_revision=1, quoted_on=NOW.date(), trace="t" * 32)
    begun, _ = store.accept(new, key, now=NOW, bounds=Bounds(**limits))
    return begun


def failed(tools: Resources, ask: Any) -> str:
    """A quote that was asked for and failed in the glass stage."""
    number = str(ask("sales", "POST", "/v1/quotes", json=REQUEST).json()["number"])
    assert QuoteStore(tools.database).runs.settle(number, 1, FAILED, now=datetime.now(UTC), letter=LETTER)
    tools.redis.flushall()
    return number


def test_a_dead_letter_shows_an_operator_what_broke_and_nobody_else(tools: Resources, ask: Any) -> None:
    number = failed(tools, ask)
    page = ask("admin", "GET", "/v1/dead-letters").json()
    (letter,) = page["items"]
    assert (letter["number"], letter["stage"], letter["quote_status"]) == (number, "glass", "failed")
    assert letter["traceback"] == "Traceback of the glass stage"
    assert letter["problem"]["detail"] == "so it is"
    assert letter["replayed_at"] is None
    for role in ("sales", "erp"):
        answer = ask(role, "GET", "/v1/dead-letters")
        assert answer.status_code == 403
        assert "admin" in answer.json()["detail"]


def test_letters_come_in_pages_newest_first(tools: Resources, ask: Any) -> None:
    numbers = [failed(tools, ask) for _ in range(3)]
    first = ask("admin", "GET", "/v1/dead-letters?limit=2").json()
    rest = ask("admin", "GET", f"/v1/dead-letters?limit=2&cursor={first['next']}").json()
    assert [letter["number"] for letter in first["items"] + rest["items"]] == numbers[::-1]
    assert rest["next"] is None
    assert ask("admin", "GET", "/v1/dead-letters?replayed=true").json()["items"] == []
    assert ask("admin", "GET", "/v1/dead-letters?cursor=%25").status_code == 422


def test_a_replayed_quote_is_under_way_again_and_its_letter_says_by_whom(tools: Resources, ask: Any) -> None:
    number = failed(tools, ask)
    letter = ask("admin", "GET", "/v1/dead-letters").json()["items"][0]["id"]
    answer = ask("admin", "POST", f"/v1/dead-letters/{letter}/replay")
    assert answer.status_code == 202, answer.text
    assert answer.headers["Location"] == f"/v1/quotes/{number}"
    quote = ask("sales", "GET", f"/v1/quotes/{number}").json()
    assert (quote["status"], quote["attempt"], quote["problem"]) == ("checking", 2, None)
    assert tools.waiting("prescription") == 1
    (kept,) = ask("admin", "GET", "/v1/dead-letters?replayed=true").json()["items"]
    assert kept["traceback"] == "Traceback of the glass stage"
    assert kept["replayed_by"].startswith("admin of a test")
    assert kept["replayed_at"] is not None


def test_a_replayed_quote_gets_its_new_outcome_once(tools: Resources, ask: Any, store: QuoteStore) -> None:
    number = failed(tools, ask)
    letter = ask("admin", "GET", "/v1/dead-letters").json()["items"][0]["id"]
    ask("admin", "POST", f"/v1/dead-letters/{letter}/replay")
    late = Outcome("failed", "d9", problem=PROBLEM)
    assert store.runs.settle(number, 1, late, now=NOW, letter=LETTER) is False, "the attempt is from before the replay"
    assert store.quote(number).status == "accepted"
    assert store.runs.settle(number, 2, READY, now=NOW) is True
    assert store.runs.settle(number, 2, FAILED, now=NOW, letter=LETTER) is False
    assert (store.quote(number).status, store.quote(number).digest) == ("ready", "d1")
    assert len(ask("admin", "GET", "/v1/dead-letters").json()["items"]) == 1
    kinds = [kind for kind, _, _ in store.events(number)]
    assert kinds == ["failed", "replayed", "ready", "late_outcome_differs"]


@pytest.mark.parametrize("state", ["accepted", "ready"])
def test_only_a_failed_quote_is_replayed(tools: Resources, ask: Any, store: QuoteStore, state: str) -> None:
    number = failed(tools, ask)
    letter = ask("admin", "GET", "/v1/dead-letters").json()["items"][0]["id"]
    ask("admin", "POST", f"/v1/dead-letters/{letter}/replay")
    if state == "ready":
        store.runs.settle(number, 2, READY, now=NOW)
    answer = ask("admin", "POST", f"/v1/dead-letters/{letter}/replay")
    assert answer.status_code == 409
    assert f"{number}, which is {state} now" in answer.json()["detail"]
    assert store.quote(number).status == state


def test_a_replay_that_would_miss_the_same_rate_is_refused_with_requote_as_the_remedy(tools: Resources, ask: Any) -> None:
    number = failed(tools, ask)
    with tools.database.transaction() as connection:
        connection.execute(text("update quoting.dead_letters set traceback = 'shared_schemas.rates.RateMissing: no row'"))
    letter = ask("admin", "GET", "/v1/dead-letters").json()["items"][0]["id"]
    answer = ask("admin", "POST", f"/v1/dead-letters/{letter}/replay")
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems#conflict")
    assert answer.json()["errors"][0]["remedy"] == f"requote {number}: POST /v1/quotes/{number}/requote"


def test_a_replay_is_refused_once_a_later_revision_is_ready(tools: Resources, ask: Any, store: QuoteStore) -> None:
    number = failed(tools, ask)
    letter = ask("admin", "GET", "/v1/dead-letters").json()["items"][0]["id"]
    assert ask("sales", "POST", f"/v1/quotes/{number}/requote", json={}).status_code == 202
    store.runs.settle(f"{number}.2", 1, READY, now=NOW)
    answer = ask("admin", "POST", f"/v1/dead-letters/{letter}/replay")
    assert answer.status_code == 409
    assert "is ready" in answer.json()["detail"]


def test_a_body_that_does_not_say_it_is_json_is_told_to(ask: Any) -> None:
    answer = ask("sales", "POST", "/v1/quotes", {"Content-Type": "text/plain"}, content="{}")
    assert (answer.status_code, answer.json()["type"]) == (415, "/problems#unsupported-media-type")
    assert "application/json" in answer.json()["detail"]


def test_a_letter_of_nobody_is_not_found(ask: Any) -> None:
    assert ask("admin", "POST", "/v1/dead-letters/7/replay").status_code == 404
    assert ask("admin", "POST", "/v1/dead-letters/0/replay").status_code == 422
    assert ask("sales", "POST", "/v1/dead-letters/7/replay").status_code == 403


def test_a_replayed_quote_has_all_its_attempts_before_it(store: QuoteStore, database: Database) -> None:
    number = accepted(store).number
    now = NOW
    for _ in range(3):
        now += timedelta(minutes=6)
        again, exhausted = store.runs.overdue(now=now, most_attempts=3)
    assert again == []
    store.runs.settle(number, exhausted[0].attempt, FAILED, now=now, letter=LETTER)
    begun = DeadLetters(database).replay(1, by="somebody", now=now, first_check_s=15)
    assert begun.attempt == 4
    attempts = []
    for _ in range(3):
        now += timedelta(minutes=6)
        again, exhausted = store.runs.overdue(now=now, most_attempts=3)
        attempts += [start.attempt for start in again]
    assert attempts == [5, 6]
    assert [start.attempt for start in exhausted] == [6]


def test_a_quote_that_used_up_its_attempts_fails_with_a_letter_that_shows_the_last_fault(
    tools: Resources, store: QuoteStore
) -> None:
    number = accepted(store).number
    with tools.database.transaction() as connection:
        connection.execute(text("update quoting.quotes set attempt = 6, next_check_at = :now"), {"now": NOW})
        connection.execute(text("update quoting.outbox set sent_at = :now"), {"now": NOW})
    tools.travellers.stamp(number, 6, {"job": b"{}", "check": b"{}", LAST_FAULT: b"the broker was away"})
    stage.sweep(tools)
    quote = store.quote(number)
    assert quote.status == "failed"
    assert b"6 times" in (quote.problem or b"")
    (letter,) = DeadLetters(tools.database).page(before=None, most=9, replayed=None)
    assert (letter.number, letter.attempt, letter.stage, letter.traceback) == (number, 6, "glass", "the broker was away")


def test_nothing_is_given_up_on_while_it_stands_in_a_line(tools: Resources, store: QuoteStore) -> None:
    number = accepted(store).number
    with tools.database.transaction() as connection:
        connection.execute(text("update quoting.quotes set attempt = 6, next_check_at = :now"), {"now": NOW})
        connection.execute(text("update quoting.outbox set sent_at = :now"), {"now": NOW})
    tools.travellers.stamp(number, 6, {"job": b"{}", "check": b"{}"})
    tools.send("glass.plan_blanks", "glass", number, 6, "t")
    stage.sweep(tools)
    assert store.quote(number).status == "accepted"
    tools.redis.flushall()
    with tools.database.transaction() as connection:
        connection.execute(text("update quoting.quotes set next_check_at = :now"), {"now": NOW})
    stage.sweep(tools)
    assert store.quote(number).status == "failed"


def test_a_full_queue_answers_503_with_retry_after_and_takes_nothing(tools: Resources, ask: Any, store: QuoteStore) -> None:
    numbers = [
        ask("sales", "POST", "/v1/quotes", json=REQUEST, headers={"Idempotency-Key": f"k{n}"}).json()["number"] for n in range(3)
    ]
    answer = ask("sales", "POST", "/v1/quotes", json=REQUEST, headers={"Idempotency-Key": "k3"})
    assert answer.status_code == 503
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"] == "/problems#queue-full"
    assert int(answer.headers["Retry-After"]) > 0
    assert len(listed(tools.database)) == 3
    again = ask("sales", "POST", "/v1/quotes", json=REQUEST, headers={"Idempotency-Key": "k1"})
    assert (again.status_code, again.json()["number"]) == (202, numbers[1]), "what was accepted before is told all the same"
    store.runs.settle(numbers[0], 1, FAILED, now=datetime.now(UTC))
    assert ask("sales", "POST", "/v1/quotes", json=REQUEST, headers={"Idempotency-Key": "k3"}).status_code == 202


def test_the_bound_counts_what_is_under_way_and_nothing_else(store: QuoteStore) -> None:
    first = accepted(store, most_unfinished=2)
    accepted(store, most_unfinished=2)
    with pytest.raises(QueueFull, match="2 quotes are under way"):
        accepted(store, most_unfinished=2)
    store.runs.settle(first.number, 1, READY, now=NOW)
    accepted(store, most_unfinished=2)


def test_a_look_that_a_clock_set_back_moved_an_hour_away_is_due(store: QuoteStore, database: Database) -> None:
    number = accepted(store).number
    with database.transaction() as connection:
        connection.execute(text("update quoting.quotes set next_check_at = next_check_at + interval '1 hour'"))
        connection.execute(text("update quoting.outbox set created_at = created_at + interval '1 hour'"))
    assert [start.number for start in store.runs.unsent(now=NOW)] == [number]
    again, _ = store.runs.overdue(now=NOW, most_attempts=3)
    assert [start.number for start in again] == [number]
    assert store.runs.overdue(now=NOW, most_attempts=3) == ([], [])


def test_a_replayed_quote_of_much_work_is_not_taken_for_lost_while_it_is_worked_on(store: QuoteStore, database: Database) -> None:
    number = accepted(store).number
    with database.transaction() as connection:
        connection.execute(text("alter table quoting.quotes disable trigger quotes_stand"))
        connection.execute(text("update quoting.quotes set large = true"))
        connection.execute(text("alter table quoting.quotes enable trigger quotes_stand"))
    store.runs.settle(number, 1, FAILED, now=NOW, letter=LETTER)
    begun = DeadLetters(database).replay(1, by="somebody", now=NOW, first_check_s=15)
    assert begun.large
    assert store.runs.overdue(now=NOW + timedelta(seconds=60), most_attempts=6) == ([], [])
