"""Quotes that are over go into an archive and come back byte for byte; nothing goes that the archive does not have."""

from __future__ import annotations

import asyncio
import gzip
import hashlib
import json
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx
import pytest
import redis
from fastapi import FastAPI
from sqlalchemy import text
from typer.testing import CliRunner, Result

from services.chassis.database import Database
from services.chassis.keys import Keys
from services.chassis.resources import Resources
from services.chassis.settings import Settings
from services.chassis.web import make_app
from services.client import Client
from services.desk.archive_file import quotes_of
from services.desk.command import app as command_line
from services.desk.commands import archive as archive_commands
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Decision, NewQuote
from tests.integration.parts import listed
from tests.integration.test_quoting_keeping import BODY, LATER, NOW, READY, of_before

BEFORE = "2026-11-20"
Run = Callable[..., Result]


class InProcess(httpx.BaseTransport):
    """An application in this process, for a client that does not wait in a loop."""

    def __init__(self, app: FastAPI) -> None:
        self._inner = httpx.ASGITransport(app)

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        async def answered() -> httpx.Response:
            sent = httpx.Request(request.method, request.url, headers=request.headers, content=request.read())
            answer = await self._inner.handle_async_request(sent)
            return httpx.Response(answer.status_code, headers=answer.headers, content=await answer.aread())

        return asyncio.run(answered())


def lines_of(file: str) -> list[bytes]:
    with gzip.open(file) as lines:
        return list(lines)


@pytest.fixture
def store(database: Database) -> QuoteStore:
    return QuoteStore(database)


@pytest.fixture
def desk(database: Database) -> Client:
    chosen = Settings(database_url="postgresql://u:p@127.0.0.1:1/x", redis_url="redis://127.0.0.1:1/0", rates_url="http://127.0.0.1:1",
                      service_key="bw_0_0", services=("quoting",))  # fmt: skip
    none: Any = SimpleNamespace()
    tools = Resources(chosen, database, none, none, none, none, redis.Redis(port=1))
    key = Keys(database).add(role="admin", label="x", now=NOW)
    return Client(url="http://testserver", key=key, transport=InProcess(make_app(tools)))


@pytest.fixture
def run(desk: Client, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    monkeypatch.setattr(archive_commands, "client_for", lambda *_, **__: desk)
    monkeypatch.setattr(Client, "__exit__", lambda *_: None)
    monkeypatch.chdir(tmp_path)
    return lambda *given: CliRunner().invoke(command_line, [str(each) for each in given])


def over(store: QuoteStore, valid_until: date = date(2026, 11, 19), settled: datetime = NOW) -> str:
    begun, _ = store.accept(NewQuote(b'{"a":"\xc3\xa9"}', "Tarn & Fell", "A lens", 1, NOW.date(), "t" * 32), None, now=NOW)
    store.runs.settle(begun.number, 1, READY.__class__(**{**vars(READY), "valid_until": valid_until}), now=settled)
    return begun.number


def test_archived_removed_read_in_the_file_and_brought_back_byte_for_byte(
    store: QuoteStore, database: Database, run: Run, desk: Client, tmp_path: Path
) -> None:
    first, second = over(store), over(store)
    of_before(database, first)
    before = {number: (store.quote(number), store.sections(number)) for number in (first, second)}
    said = run("archive", "--before", BEFORE, "--out", "a.gz")
    assert (said.exit_code, "2 quotes" in said.output, "nothing was removed" in said.output) == (0, True, True), said.output
    assert store.quote(first).archived_in is None
    said = run("archive", "--before", BEFORE, "--out", "b.gz", "--remove")
    assert "documents of 2 revisions removed" in said.output
    gone = store.quote(first)
    assert (gone.body, gone.archived_in, gone.digest, gone.title) == (None, "b.gz", before[first][0].digest, "A lens")
    assert listed(database) == [second, first], "lists go on"
    answer = desk._http.get(f"/v1/quotes/{first}")
    assert (answer.status_code, "b.gz" in answer.json()["detail"]) == (410, True)
    assert desk._http.get(f"/v1/quotes/{first}/sheet", headers={"Accept": "text/html"}).status_code == 410
    shown = run("archive", "show", "b.gz", first)
    assert shown.output.encode() == BODY + b"\n"
    said = run("unarchive", "b.gz")
    assert "documents of 2 revisions are back" in said.output
    assert {number: (store.quote(number), store.sections(number)) for number in (first, second)} == before
    assert "0 revisions" in run("unarchive", "a.gz").output, "what is here already is left alone"
    assert not list(tmp_path.glob(".*"))


def test_open_quotes_orders_of_late_and_what_is_under_way_stay(store: QuoteStore, database: Database, run: Run) -> None:
    over(store, valid_until=date(2036, 1, 1))
    over(store, settled=datetime(2026, 11, 21, tzinfo=NOW.tzinfo))
    store.accept(NewQuote(b"{}", "c", "t", 1, NOW.date(), "t" * 32), None, now=NOW)
    ordered_late, ordered = over(store), over(store)
    for number, at in ((ordered_late, NOW + timedelta(days=30)), (ordered, LATER)):
        LifeStore(database).decide(number, Decision("accepted", 5, "R. L.", "", "k", at))
    run("archive", "--before", BEFORE, "--out", "a.gz", "--remove")
    lines = [json.loads(line) for line in lines_of("a.gz")]
    assert [line.get("number") for line in lines] == [ordered, None]
    assert (lines[0]["revisions"][0]["decision"]["decision"], lines[1]["quotes"]) == ("accepted", 1)
    assert json.loads(lines[0]["revisions"][0]["request"]) == {"a": "é"}
    with database.transaction() as connection:
        assert connection.execute(text("select number from quoting.outcomes where archived_in is not null")).scalars().all() == [
            ordered
        ]


def test_a_decision_is_archived_with_all_that_was_said_of_it(store: QuoteStore, database: Database, run: Run) -> None:
    order = Decision(
        "accepted", 5, "R. L.", "by mail", "k", NOW, purchase_order="PO 7", customer_number="C-19", contact="M. Fell",
        needed_by=date(2026, 12, 24), late=True,
    )  # fmt: skip
    decline = Decision("declined", None, "R. L.", "", "k", NOW, reason="lost_to_other")
    numbers = [over(store) for _ in range(2)]
    for number, decision in zip(numbers, (order, decline), strict=True):
        LifeStore(database).decide(number, decision)
    said = run("archive", "--before", BEFORE, "--out", "a.gz")
    assert said.exit_code == 0, said.output
    archived = [quote.revisions[0].decision for quote in quotes_of(Path("a.gz"))]
    for found, decision in zip(archived, (order, decline), strict=True):
        assert found is not None
        assert found.model_dump(exclude={"handover"}) == vars(decision), "nothing is left behind"


def test_an_archive_of_before_is_read_though_its_decisions_say_less(
    store: QuoteStore, database: Database, run: Run, tmp_path: Path
) -> None:
    number = over(store)
    LifeStore(database).decide(number, Decision("accepted", 5, "R. L.", "", "k", NOW, purchase_order="PO 7"))
    run("archive", "--before", BEFORE, "--out", "a.gz", "--remove")
    quote, last = (json.loads(line) for line in lines_of("a.gz"))
    decision = quote["revisions"][0]["decision"]
    for new in ("purchase_order", "customer_number", "contact", "needed_by", "reason", "late", "changes_order", "order_change"):
        del decision[new]
    line = json.dumps(quote, separators=(",", ":"), ensure_ascii=False).encode() + b"\n"
    last["sha256"] = hashlib.sha256(line).hexdigest()
    (tmp_path / "old.gz").write_bytes(gzip.compress(line + json.dumps(last, separators=(",", ":")).encode() + b"\n"))
    (found,) = quotes_of(Path("old.gz"))
    assert found.revisions[0].decision is not None
    assert (found.revisions[0].decision.quantity, found.revisions[0].decision.purchase_order) == (5, None)
    said = run("unarchive", "old.gz")
    assert "documents of 1 revisions are back" in said.output, said.output


def test_what_changed_since_the_archive_was_written_is_not_removed(store: QuoteStore, desk: Client) -> None:
    number = over(store)
    for digest, day in (("0" * 64, BEFORE), (str(store.quote(number).digest), "2026-11-01")):
        asked = {"archive": "a.gz", "settled_before": day, "revisions": [{"row": number, "digest": digest}]}
        assert desk._http.post("/v1/archive/removals", json=asked).json() == {"done": 0, "untouched": [number]}
    assert store.quote(number).body == BODY


def test_a_damaged_archive_is_not_taken_and_a_damaged_body_makes_none(
    store: QuoteStore, database: Database, run: Run, tmp_path: Path
) -> None:
    over(store)
    run("archive", "--before", BEFORE, "--out", "a.gz", "--remove")
    lines = lines_of("a.gz")
    plain = b"".join(lines)
    for damaged in (lines[0], plain[:-200], plain.replace(b"Tarn", b"Torn"), plain.replace(b'"zstd-1-quick"', b'"xz"'), b""):
        (tmp_path / "d.gz").write_bytes(gzip.compress(damaged))
        said = run("unarchive", "d.gz")
        assert said.exit_code != 0
        assert "Traceback" not in said.output
    (tmp_path / "d.gz").write_bytes((tmp_path / "a.gz").read_bytes()[:-30])
    assert run("unarchive", "d.gz").exit_code != 0
    number = over(store)
    with database.transaction() as connection:
        connection.execute(text("set local session_replication_role = replica"))
        connection.execute(text("update quoting.outcomes set digest = 'x' where number = :n"), {"n": number})
    said = run("archive", "--before", BEFORE, "--out", "e.gz", "--remove")
    assert said.exit_code != 0
    assert not (tmp_path / "e.gz").exists()
    assert store.quote(number).body == BODY
