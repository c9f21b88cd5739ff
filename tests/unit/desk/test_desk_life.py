"""The desk after a quote: the next revision, decisions, comparisons, batches; what is sent, said and refused."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from rich.console import RenderableType
from typer.testing import CliRunner

from services.client import Client
from services.client.errors import WaitedTooLong
from services.desk.command import app
from services.desk.texts.comparison import comparison_page
from services.desk.texts.page_parts import console_for
from services.desk.texts.quote import quote_page
from services.desk.texts.quotes import quote_list_lines
from shared_schemas.quote import OrderChange, Quote, QuoteDecision
from shared_schemas.quote_life import (
    ChangedPlace,
    ChangedRow,
    ComparedAmount,
    ComparedBreak,
    ComparedCount,
    ComparedDay,
    ComparedDeciding,
    ComparedLine,
    ComparedRevision,
    ComparedTool,
    Comparison,
)
from shared_schemas.quote_list import ListedPrice, QuoteSummary

ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]
TOLD = QuoteDecision(
    number="Q-1", revision=2, decision="accepted", quantity=25, by="[bold]R.[/bold]", note="by telephone", key_id="a1",
    at=datetime(2026, 11, 30, 9, 5, tzinfo=UTC),
)  # fmt: skip


def side(revision: int, **changes: Any) -> ComparedRevision:
    values: dict[str, Any] = {
        "rate_revision": revision, "quoted_on": date(2026, 11, revision), "valid_until": date(2026, 12, revision), "currency": "USD",
        "digest": "d",
    }  # fmt: skip
    return ComparedRevision(revision=revision, **{**values, **changes})


def amount(old: str | None, new: str | None) -> ComparedAmount:
    before, after = (None if one is None else Decimal(one) for one in (old, new))
    return ComparedAmount(old=before, new=after, difference=None if before is None or after is None else after - before)


def comparison(**changes: Any) -> Comparison:
    one = ComparedBreak(
        quantity=1000, unit_price=amount("10.00", "12.50"), total_price=amount("10000.00", "12500.00"),
        lines=(ComparedLine(name="Glass", kind="material", amount=amount("10000.00", "12500.00")),),
        unit_cost=amount("8.00", "9.00"), p50_days=ComparedCount(old=40, new=38, difference=-2),
        p80_days=ComparedCount(old=47, new=46, difference=-1), p90_days=ComparedCount(old=50, new=50, difference=0),
        decided_by=(
            ComparedDeciding(name="polish back", part="L2", old_days=4.0, new_days=6.5),
            ComparedDeciding(name="pack", part="lens", old_days=1.0, new_days=1.01),
            ComparedDeciding(name="glass N-SF5", part="L5", new_days=9.0),
            ComparedDeciding(name="glass N-SK5", part="L1", old_days=3.0),
        ),
        ship_date=ComparedDay(old=date(2027, 1, 4), new=date(2027, 1, 2), difference_days=-2),
        start_quantities={"L1": ComparedCount(old=1100, new=1110, difference=10), "L2": ComparedCount(old=5, new=5, difference=0)},
    )  # fmt: skip
    values: dict[str, Any] = {
        "number": "Q-1", "old": side(1), "new": side(2), "breaks": (one,),
        "request": (ChangedPlace(pointer="/confidence", old=0.9, new=0.95), ChangedPlace(pointer="/prescription/barrel", old={"a": 1})),
        "rate_rows": (ChangedRow(table="glasses", row="N-BK7", fields=(ChangedPlace(pointer="/price", old="90", new="110"),)),),
        "tooling": (ComparedTool(name="bell chuck", part="L1", charge=amount("0", "140.00")),),
    }  # fmt: skip
    return Comparison(**{**values, **changes})


def text_of(page: RenderableType) -> str:
    out = io.StringIO()
    console_for(out).print(page)
    return out.getvalue()


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, server: Callable[..., Any], reach: Any) -> Callable[..., Any]:
    """`run(answers, *arguments)` runs the command in an empty folder against a server that gives these answers."""
    monkeypatch.chdir(tmp_path)

    def ran(answers: list[Any], *arguments: Any) -> Any:
        fake = server(*answers)

        reach(fake.transport)
        done = CliRunner().invoke(app, [str(one) for one in (*arguments, *ANY_SERVER)])
        done.requests = fake.requests  # type: ignore[attr-defined]
        return done

    return ran


def test_a_requote_sends_only_what_changes_and_follows_the_new_revision(run: Any, ready_quote: Quote, tmp_path: Path) -> None:
    (tmp_path / "patch.json").write_text('{"prescription": {"barrel": null}, "quantities": [1]}')
    accepted = {"number": "BW-7", "revision": 2, "status": "accepted", "links": {}}
    second = ready_quote.model_dump(mode="json") | {"revision": 2, "latest_revision": 2}
    done = run(
        [(202, accepted), (200, second)], "requote", "BW-7", "--quantities", "10,50", "--needed-by", "2027-03-01", "--rates", "3",
        "--changes", "patch.json",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    asked, looked = done.requests
    assert (asked.method, asked.url.path) == ("POST", "/v1/quotes/BW-7/requote")
    assert json.loads(asked.content) == {
        "changes": {"prescription": {"barrel": None}, "quantities": [10, 50], "needed_by": "2027-03-01"}, "rate_revision": 3,
    }  # fmt: skip
    assert looked.url.query == b"revision=2"
    assert "revision 2: ready" in done.stdout


def test_a_day_in_another_form_is_told_how_to_write_it(run: Any) -> None:
    done = run([(200, {})], "requote", "Q-1", "--needed-by", "25.12.2026")
    assert done.exit_code == 2
    assert "write year, month and day, as in 2027-03-01" in " ".join(done.stderr.replace("│", " ").split())


def test_a_requote_of_one_in_work_says_so_with_exit_code_2(run: Any) -> None:
    problem = {
        "type": "/problems#conflict",
        "title": "A revision is under way",
        "status": 409,
        "detail": "Revision 2 is worked on.",
    }
    done = run([(409, problem)], "requote", "BW-7")
    assert done.exit_code == 2
    assert "A revision is under way. Revision 2 is worked on." in done.stderr


def test_a_decision_is_sent_and_said_in_a_sentence(run: Any) -> None:
    answer = (200, TOLD.model_dump(mode="json"))
    done = run(
        [answer], "accept", "Q-1", "--quantity", "25", "--by", "[bold]R.[/bold]", "--note", "by telephone", "--revision", "2"
    )
    assert done.exit_code == 0, done.output
    assert json.loads(done.requests[0].content) == {
        "decision": "accepted", "quantity": 25, "by": "[bold]R.[/bold]", "note": "by telephone", "revision": 2,
    }  # fmt: skip
    assert done.stdout.splitlines() == [
        "Q-1, revision 2, was accepted for 25 by [bold]R.[/bold] on 2026-11-30 09:05 UTC", "note: by telephone",
    ]  # fmt: skip
    done = run([answer], "decline", "Q-1", "--by", "x", "--json")
    assert json.loads(done.requests[0].content)["decision"] == "declined"
    assert QuoteDecision.model_validate_json(done.stdout) == TOLD


def test_an_order_is_told_with_the_customers_own_names_and_a_decline_with_its_reason(run: Any) -> None:
    late = TOLD.model_copy(update={"purchase_order": "PO 7", "late": True})
    order = (
        "--purchase-order",
        "PO 7",
        "--customer-number",
        "C9",
        "--contact",
        "R.",
        "--needed-by",
        "2027-03-31",
        "--confirm-expired",
    )
    done = run([(200, late.model_dump(mode="json"))], "accept", "Q-1", "--quantity", "25", "--by", "x", *order)
    assert json.loads(done.requests[0].content) == {
        "decision": "accepted", "quantity": 25, "by": "x", "purchase_order": "PO 7", "customer_number": "C9", "contact": "R.",
        "needed_by": "2027-03-31", "confirm_expired": True,
    }  # fmt: skip
    assert "purchase order: PO 7" in done.stdout
    assert "after its last day" in done.stdout
    change = OrderChange(
        changes_order=1,
        new_price=Decimal("900.00"),
        price_difference=Decimal("-120.00"),
        new_ship_date=date(2027, 2, 1),
        days_later=3,
    )
    changed = TOLD.model_copy(update={"changes_order": 1, "change": change})
    order = ("--changes-order", "1", "--deliver", "10@2027-02-01", "--deliver", "15")
    done = run([(200, changed.model_dump(mode="json"))], "accept", "Q-1", "--quantity", "25", "--by", "x", *order)
    asked = json.loads(done.requests[0].content)
    assert (asked["changes_order"], asked["deliveries"]) == (1, [{"quantity": 10, "by": "2027-02-01"}, {"quantity": 15}])
    assert "in the place of the order of revision 1; -120.00 in price; +3 days: it ships on 2027-02-01" in done.stdout
    done = run([(200, TOLD.model_dump(mode="json"))], "decline", "Q-1", "--by", "x", "--reason", "price")
    assert json.loads(done.requests[0].content)["reason"] == "price"
    assert run([(500, {})], "decline", "Q-1", "--by", "x", "--reason", "weather").exit_code == 2


@pytest.mark.parametrize("arguments", [["accept", "Q-1", "--by", "x"], ["accept", "Q-1", "--quantity", "0", "--by", "x"],
                                       ["decline", "Q-1"], ["decline", "Q-1", "--by", ""], ["batch"],
                                       ["batch", "a.json", "--number", "B-1"], ["compare", "Q-1"]])  # fmt: skip
def test_a_command_that_says_too_little_is_a_usage_error(run: Any, arguments: list[str]) -> None:
    done = run([(500, {})], *arguments)
    assert done.exit_code == 2
    assert done.requests == []


def test_a_comparison_is_a_page_of_what_changed_and_what_came_of_it(run: Any) -> None:
    done = run([(200, comparison().model_dump(mode="json"))], "compare", "Q-1", "--with", "1", "--revision", "2")
    assert done.exit_code == 0, done.output
    assert done.requests[0].url.query == b"with=1&revision=2"
    page = done.stdout
    for words in ("revision 1 of 2026-11-01", "/confidence: 0.9 → 0.95", "/prescription/barrel: {…} → nothing",
                  "glasses, N-BK7: /price: 90 → 110", "+2,500.00", "-2 days", "bell chuck for L1", "L1 to start"):  # fmt: skip
        assert words in page, words
    assert "L2 to start" not in page, "what is the same is not told"


def test_a_comparison_says_in_words_what_decides_the_date_otherwise() -> None:
    text = " ".join(text_of(comparison_page(comparison())).split())
    assert "8 in 10 within, days 47 46 -1" in text
    assert "Of the date, L2, polish back takes 6.5 days instead of 4.0." in text
    assert "Now among what decides most of the date: L5, glass N-SF5 (9.0 days)." in text
    assert "No longer among what decides most of the date: L1, glass N-SK5 (3.0 days)." in text
    assert "lens, pack" not in text


def test_a_comparison_of_the_same_says_that_it_is() -> None:
    page = text_of(comparison_page(comparison(request=(), rate_rows=(), tooling=())))
    assert "request is the same" in page
    abroad = text_of(comparison_page(comparison(new=side(2, currency="JPY"))))
    assert "no difference is shown" in " ".join(abroad.split())


def test_a_batch_of_files_is_sent_at_once_and_awaited(run: Any, demo_path: Path) -> None:
    accepted = {"number": "B-1", "status": "in_work", "quotes": ["Q-1", "Q-2"], "links": {}}
    item = {"place": 0, "number": "Q-1", "status": "ready", "customer": "c", "title": "t"}
    batch = {"number": "B-1", "created_at": "2026-11-30T09:00:00Z", "items": [item], "next": "n"}
    refused = item | {"place": 1, "number": "Q-2", "status": "refused"}
    half = batch | {"status": "in_work", "counts": {"in_work": 1, "ready": 1, "refused": 0, "failed": 0}}
    whole = batch | {
        "items": [item, refused],
        "status": "finished",
        "counts": {"in_work": 0, "ready": 1, "refused": 1, "failed": 0},
    }
    done = run([(202, accepted), (200, half), (200, half), (200, whole)], "batch", demo_path, demo_path, "--quantities", "3")
    assert done.exit_code == 3, done.output
    assert "why not: blankwright show Q-2" in done.stdout
    assert [one["quantities"] for one in json.loads(done.requests[0].content)["requests"]] == [[3], [3]]
    assert done.stderr.splitlines() == ["batch B-1: 2 requests accepted", "1 in work, 1 ready", "1 ready, 1 refused"]
    assert done.stdout.splitlines()[0] == "B-1: 1 ready, 1 refused"
    assert "more with: blankwright batch --number B-1 --cursor n" in done.stdout
    done = run([(200, whole)], "batch", "--number", "B-1", "--cursor", "n")
    assert done.requests[0].url.query == b"cursor=n"


def test_what_the_server_has_against_a_request_of_a_batch_is_told_by_its_file(run: Any, demo_path: Path) -> None:
    error = {"pointer": "/requests/1/currency", "reason": "the rates have no currency XSH"}
    odd = {"pointer": "/requests/7/currency", "reason": "from nowhere"}
    problem = {"type": "/problems#invalid", "title": "Not so", "status": 422, "detail": "Two places.", "errors": [error, odd]}
    done = run([(422, problem)], "batch", demo_path, demo_path)
    assert done.exit_code == 2
    assert f"{demo_path.name}, /currency: the rates have no currency XSH" in done.stderr
    assert "/requests/7/currency: from nowhere" in done.stderr


def test_waiting_for_a_batch_ends_in_time(server: Callable[..., Any]) -> None:
    counts = {"in_work": 1, "ready": 0, "refused": 0, "failed": 0}
    batch = {"number": "B-1", "status": "in_work", "created_at": "2026-11-30T09:00:00Z", "counts": counts, "items": []}
    now = [0.0]
    desk = Client(
        url="http://desk.test", key="k", transport=server((200, batch)).transport, clock=lambda: now[0],
        sleep=lambda pause: now.__setitem__(0, now[0] + pause),
    )  # fmt: skip
    with pytest.raises(WaitedTooLong, match=r"Batch B-1 is still in work after 5 s.*It is not lost"):
        desk.wait_for_batch("B-1", timeout_s=5)


def test_a_quote_says_what_was_decided_and_that_it_is_not_the_latest(ready_quote: Quote) -> None:
    told = ready_quote.model_copy(update={"state": "accepted", "decision": TOLD, "latest_revision": 3})
    head = text_of(quote_page(told)).splitlines()[0]
    assert "accepted for 25 by [bold]R.[/bold] on 2026-11-30" in head
    assert "the latest revision is 3" in head
    expired = text_of(quote_page(ready_quote.model_copy(update={"state": "expired"})))
    assert "expired; the next revision comes with: blankwright requote BW-7" in expired


def test_quotes_are_listed_by_state_with_their_revision(run: Any) -> None:
    item = {
        "number": "Q-1", "revision": 2, "status": "ready", "state": "open", "customer": "c", "title": "t",
        "created_at": "2026-11-30T09:00:00Z",
    }  # fmt: skip
    done = run([(200, {"items": [item], "next": "n"})], "quotes", "--state", "open")
    assert done.requests[0].url.query == b"state=open"
    assert done.stdout.splitlines()[0].split()[:3] == ["Q-1", "2", "open"]
    assert "--state open --cursor n" in done.stdout


@pytest.mark.parametrize("width", [60, 80, 128])
def test_a_list_of_quotes_is_no_wider_than_asked_and_cuts_no_amount(width: int) -> None:
    price = ListedPrice(quantity=100_000, unit_price=Decimal("12345678.90"), total_price=Decimal("1234567890000.00"))
    one = QuoteSummary(
        number="Q-2026-000001", revision=12, status="ready", state="accepted", valid_until=date(2027, 1, 15), customer="C" * 90, reference="R" * 60,
        title="T" * 200, created_at=datetime(2026, 12, 1, tzinfo=UTC), asked_by="A" * 40, currency="USD", prices=(price, price), decided_by="D" * 20,
    )  # fmt: skip
    lines = quote_list_lines((one, one.model_copy(update={"prices": (), "title": "", "customer": ""})), width=width)
    assert max(map(len, lines)) <= width
    assert sum(line.count("100,000 at 12,345,678.90") for line in lines) == 2
