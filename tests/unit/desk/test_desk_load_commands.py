"""Days at the desk: what the commands promise and load send, print and refuse."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from services.desk.command import app
from shared_schemas.lead_times import LeadTime, Promise, PromisedDays, PromisedDelivery
from shared_schemas.load import CentreWeeks, LoadBook, WeekOfLoad

ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]
MONDAY = date(2026, 11, 30)


def days(last: int) -> PromisedDays:
    p50, p80, p90 = (date(2027, 3, last - before) for before in (9, 3, 0))
    return PromisedDays(p50=p50, p80=p80, p90=p90)


def promise(**changes: Any) -> Promise:
    lead = LeadTime(p50_days=101, p80_days=107, p90_days=110, ship_date=date(2027, 3, 20))
    values: dict[str, Any] = {
        "number": "Q-2026-000001", "revision": 2, "quantity": 100_000, "currency": "USD", "ordered_on": MONDAY, "load_snapshot": 7,
        "quoted_ship_date": date(2027, 3, 15), "days": days(20), "lead_time": lead,
        "deliveries": (
            PromisedDelivery(quantity=99_990, by=date(2027, 3, 15), of_one_lot=days(19), as_own_lot=days(14),
                             price_effect=Decimal("1234567.89"), in_time="as_own_lot"),
            PromisedDelivery(quantity=10, of_one_lot=days(20), as_own_lot=days(25), price_effect=Decimal("-4.00")),
        ),
    }  # fmt: skip
    return Promise(**values | changes)


def book(shares: dict[str, float], weeks: int = 2) -> LoadBook:
    centres = tuple(
        CentreWeeks(
            work_centre=name, usual_share=0.6, booked_share=0.5,
            weeks=tuple(
                WeekOfLoad(week=MONDAY + timedelta(weeks=week), capacity_h=40.0, booked_h=40 * share, free_h=40 - 40 * share, share=share)
                for week in range(weeks)
            ),
        )
        for name, share in shares.items()
    )  # fmt: skip
    return LoadBook(
        snapshot=3, digest="d", made_at=datetime(2026, 11, 30, 9, tzinfo=UTC), first_week=MONDAY, orders=4, work_centres=centres
    )


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, server: Callable[..., Any], reach: Any) -> Callable[..., Any]:
    """`run(answer, *arguments)` runs the command in an empty folder against a server that gives that answer."""
    monkeypatch.chdir(tmp_path)

    def ran(answer: Promise | LoadBook | tuple[int, Any], *arguments: str) -> Any:
        fake = server(answer if isinstance(answer, tuple) else (200, answer.model_dump(mode="json")))

        reach(fake.transport)
        done = CliRunner().invoke(app, [*arguments, *ANY_SERVER])
        done.requests = fake.requests  # type: ignore[attr-defined]
        return done

    return ran


def test_a_promise_is_asked_for_with_its_deliveries(run: Any) -> None:
    arguments = ("promise", "Q-1", "--quantity", "25", "--deliver", "10@2027-03-15", "--deliver", "15", "--revision", "2")
    done = run(promise(), *arguments)
    assert done.exit_code == 0, done.output
    (asked,) = done.requests
    assert (asked.method, asked.url.path) == ("POST", "/v1/quotes/Q-1/promise")
    assert json.loads(asked.content) == {
        "quantity": 25, "revision": 2, "deliveries": [{"quantity": 10, "by": "2027-03-15"}, {"quantity": 15, "by": None}],
    }  # fmt: skip


def test_a_promise_is_told_in_a_table_of_80_columns(run: Any) -> None:
    done = run(promise(), "promise", "Q-1", "--quantity", "100000")
    lines = done.stdout.splitlines()
    assert max(len(line) for line in lines) <= 80
    assert lines[:4] == [
        "Q-2026-000001 revision 2: 100,000 pieces, ordered on 2026-11-30",
        "half are ready by 2027-03-11, 8 in 10 by 2027-03-17, 9 in 10 by 2027-03-20",
        "quoted 2027-03-15: 5 days later than quoted",
        "by snapshot 7 of the book of load",
    ]
    head, first, second = lines[-3:]
    assert head.split() == ["pieces", "by", "of", "one", "lot", "lot", "of", "its", "own", "adds", "USD", "in", "time"]
    assert first.split() == ["99,990", "2027-03-15", "2027-03-19", "2027-03-14", "1,234,567.89", "as", "own", "lot"]
    assert second.split() == ["10", "-", "2027-03-20", "2027-03-25", "-4.00", "-"]


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({"quoted_ship_date": date(2027, 3, 20)}, "quoted 2027-03-20: as quoted"),
        ({"quoted_ship_date": date(2027, 3, 21)}, "quoted 2027-03-21: 1 day sooner than quoted"),
        ({"load_snapshot": None}, "without a book of load"),
    ],
)
def test_how_a_promise_stands_to_the_quote_and_the_book(run: Any, changes: dict[str, Any], line: str) -> None:
    assert line in run(promise(**changes), "promise", "Q-1", "--quantity", "5").stdout.splitlines()


def test_a_quantity_that_was_not_quoted_without_deliveries_is_three_lines(run: Any) -> None:
    done = run(promise(quoted_ship_date=None, deliveries=()), "promise", "Q-1", "--quantity", "5")
    assert len(done.stdout.splitlines()) == 3


@pytest.mark.parametrize(
    ("deliver", "words"),
    [
        (("10", "10"), "the deliveries are 20 pieces together, and 25 are ordered"),
        (("ten", "15"), "ten is no delivery; write 10, or 10@2027-03-15"),
        (("10@15.03.2027", "15"), "10@15.03.2027 is no delivery"),
        (("0", "25"), "0 is no delivery"),
    ],
)
def test_deliveries_that_cannot_be_are_told_before_anything_is_sent(run: Any, deliver: tuple[str, ...], words: str) -> None:
    done = run(promise(), "promise", "Q-1", "--quantity", "25", *(part for one in deliver for part in ("--deliver", one)))
    assert (done.exit_code, done.requests) == (2, [])
    assert words in " ".join(done.stderr.replace("│", " ").split())


def test_a_refusal_of_the_server_is_told_with_its_place(run: Any) -> None:
    problem = {
        "type": "/problems#invalid", "title": "The request cannot be answered", "status": 422, "detail": "One place to mend.",
        "errors": [{"pointer": "/deliveries/0/by", "reason": "that day is gone"}],
    }  # fmt: skip
    done = run((422, problem), "promise", "Q-1", "--quantity", "25", "--deliver", "25@2020-01-01")
    assert done.exit_code == 2
    assert "/deliveries/0/by" in done.stderr
    assert "that day is gone" in done.stderr


def test_the_document_of_a_promise_comes_with_json(run: Any) -> None:
    done = run(promise(), "promise", "Q-1", "--quantity", "5", "--json")
    assert Promise.model_validate_json(done.stdout) == promise()


def test_load_is_a_table_of_work_centres_by_week_and_leaves_out_the_idle(run: Any) -> None:
    done = run(book({"curve generator": 0.875, "polishing spindles": 0.0}), "load", "--weeks", "2")
    assert done.exit_code == 0, done.output
    (asked,) = done.requests
    assert (asked.method, asked.url.path, asked.url.query) == ("GET", "/v1/load", b"weeks=2")
    assert "snapshot 3, 4 orders" in done.stdout
    assert "30 Nov" in done.stdout
    assert "07 Dec" in done.stdout
    (row,) = [line for line in done.stdout.splitlines() if "curve generator" in line]
    assert row.split() == ["curve", "generator", "88", "%", "88", "%"]
    assert "polishing" not in done.stdout


def test_load_fits_80_columns_and_an_empty_book_says_so(run: Any) -> None:
    done = run(book({"stitching interferometer": 1.5}, weeks=6), "load")
    assert max(len(line.rstrip()) for line in done.stdout.splitlines()) <= 80
    assert "nothing is booked" in run(book({"saw": 0.0}), "load").stdout
    assert LoadBook.model_validate_json(run(book({"saw": 0.5}), "load", "--json").stdout) == book({"saw": 0.5})
