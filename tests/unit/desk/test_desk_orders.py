"""Orders at the desk: how far they are, and a report whose lines are taken or refused by the numbers they have in the file."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner

from services.desk.command import app
from shared_schemas.actuals import ActualsTaken, MaterialProgress, OperationProgress, OrderProgress
from shared_schemas.load import OrderInBook, OrderPage

ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]
DAY = date(2026, 11, 30)


def progress(*, lists: bool = True) -> OrderProgress:
    lines = (
        OperationProgress(id="L1-generate-front", sequence=1, part="L1", operation="generate", work_centre="curve generator", state="done", late=True,
                          begins=DAY, ends=DAY, expected_end=date(2026, 12, 2), quoted_h=10.0, actual_h=12.5, quoted_cost=Decimal("900.00"),
                          cost_so_far=Decimal("990.00")),
        OperationProgress(id="L1-polish-front", sequence=2, part="L1", operation="polish", work_centre="spindles", state="open", late=False, begins=DAY,
                          ends=date(2026, 12, 8), expected_end=date(2026, 12, 8), quoted_h=1240.0, actual_h=0.0, quoted_cost=Decimal("450.00")),
    )  # fmt: skip
    glass = MaterialProgress(id="slab", item="N-BK7 slab 160x160x40", quoted_cost=Decimal("100.00"), price_paid=Decimal("120.00"))
    return OrderProgress(
        operations=lines if lists else (), materials=(glass,) if lists else (), operations_in_all=2, done=1, late=1, days_late=2, currency="EUR",
        quoted_cost=Decimal("1450.00"), quoted_cost_so_far=Decimal("1000.00"), cost_so_far=Decimal("1110.00"),
        forecast_ship_date=date(2026, 12, 24), rule="",
    )  # fmt: skip


def order(number: str = "Q-2026-000001", *, lists: bool = True, **changes: Any) -> OrderInBook:
    made = OrderInBook(
        order=number, source="accepted", state="booked", quantity=25, customer="Tarn & Fell of the North", title="doublet",
        ship_date=date(2026, 12, 22), booked_h=10.0, progress=progress(lists=lists),
    )  # fmt: skip
    return made.model_copy(update=changes)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, reach: Any) -> Callable[..., Any]:
    """`run([answer…], *arguments)` runs the command against a server that gives these answers in turn; what it printed, and the requests."""
    monkeypatch.chdir(tmp_path)

    def ran(
        answers: list[tuple[int, str]], *arguments: str, stdin: str | None = None, kind: str = "application/json"
    ) -> tuple[Any, list[Any]]:
        requests: list[Any] = []

        def answered(request: Any) -> Any:
            requests.append(request)
            status, body = answers[min(len(requests), len(answers)) - 1]
            return httpx.Response(status, text=body, headers={"Content-Type": kind})

        reach(httpx.MockTransport(answered))
        return CliRunner().invoke(app, [*arguments, *ANY_SERVER], input=stdin), requests

    return ran


def test_orders_are_listed_with_what_is_done_and_late_in_eighty_columns(run: Any) -> None:
    ended = order("Q-2026-000002", state="completed", lists=False)
    page = OrderPage(items=(order(lists=False), ended), next="abc")
    done, _ = run([(200, page.model_dump_json())], "orders", "list")
    lines = done.stdout.splitlines()
    assert lines[1].split() == ["Q-2026-000001", "booked", "25", "Tarn", "&", "Fell", "2026-12-22", "2026-12-24", "1/2", "1"]
    assert lines[2].split()[-2:] == ["2026-12-22", "1/2"]
    assert lines[3] == "more with: blankwright orders list --cursor abc"
    assert max(len(line) for line in lines) <= 80
    late, _ = run([(200, page.model_dump_json())], "orders", "list", "--late", "--json")
    assert [one["order"] for one in json.loads(late.stdout)["items"]] == ["Q-2026-000001"]


def test_an_order_shows_what_is_late_what_it_cost_and_when_it_will_be_ready(run: Any) -> None:
    done, (asked,) = run([(200, order().model_dump_json())], "orders", "show", "E-2026-000001.2")
    assert asked.url.path == "/v1/orders/Q-2026-000001"
    lines = done.stdout.splitlines()
    assert lines[:5] == [
        "Q-2026-000001: 25 x doublet, booked, for Tarn & Fell of the North",
        "promised for 2026-12-22, forecast 2026-12-24: 2 days late",
        "1 of 2 operations done, 1 late",
        "cost so far 1,110.00 EUR, quoted for the same 1,000.00 (+11.0 %)",
        "all of it was quoted to cost 1,450.00 EUR",
    ]
    assert lines[7].split() == ["L1-generate-front", "done", "2026-11-30", "2026-12-02", "10.0", "12.5", "late"]
    assert lines[-1].split()[-2:] == ["100.00", "120.00"]
    assert max(len(line) for line in lines) <= 80
    short, _ = run([(200, order().model_dump_json())], "orders", "show", "Q-2026-000001", "--late")
    assert "L1-polish-front" not in short.stdout


def test_an_order_that_is_not_there_ends_with_exit_code_2(run: Any) -> None:
    problem = {"type": "/problems#not-found", "title": "There is no such order", "status": 404, "detail": "There is no order Q-9."}
    done, _ = run([(404, json.dumps(problem))], "orders", "show", "Q-9")
    assert (done.exit_code, done.stderr.strip()) == (2, "There is no such order. There is no order Q-9.")


TAKEN = ActualsTaken(order="Q-2026-000001", taken=2, unchanged=1, progress=progress())
TABLE = 'operation;run_min;reason_of_loss\nL1-generate-front;600;"scratches,\nand chips"\n\nL1-polish-fornt;;\nL1-polish-front;5;\n'


def refusal(*errors: tuple[str, str]) -> tuple[int, str]:
    details = [{"pointer": pointer, "reason": reason, "remedy": "did you mean L1-polish-front?"} for pointer, reason in errors]
    problem = {
        "type": "/problems#invalid",
        "title": "There are entries that cannot be",
        "status": 422,
        "detail": "Nothing was kept.",
        "errors": details,
    }
    return 422, json.dumps(problem)


def test_a_report_is_sent_and_what_was_taken_is_said_by_lines(run: Any, tmp_path: Path) -> None:
    (tmp_path / "done.csv").write_text(TABLE, encoding="utf-8")
    done, (sent,) = run([(201, TAKEN.model_dump_json())], "actuals", "E-2026-000001", "done.csv")
    assert done.exit_code == 0
    assert (sent.url.path, sent.headers["Content-Type"]) == ("/v1/orders/E-2026-000001/actuals", "text/csv; charset=utf-8")
    assert sent.content.decode().splitlines()[0] == "operation,run_min,reason_of_loss", "commas, whatever stood between the cells"
    assert done.stdout.splitlines()[0] == "Q-2026-000001: 2 taken, 1 known already (lines 2, 5 to 6)"
    assert "forecast 2026-12-24: 2 days late" in done.stdout


def test_a_refused_line_is_named_by_its_number_in_the_file_and_nothing_is_kept(run: Any, tmp_path: Path) -> None:
    (tmp_path / "done.csv").write_text(TABLE, encoding="utf-8")
    answer = refusal(("/entries/1/operation", "the order has no such operation"))
    done, requests = run([answer], "actuals", "E-2026-000001", "done.csv")
    assert (done.exit_code, len(requests)) == (2, 1)
    assert done.stdout.splitlines()[0] == (
        "refused: line 5 operation: the order has no such operation. What would do: did you mean L1-polish-front?"
    )
    assert "nothing of done.csv was kept" in done.stdout
    said, _ = run([answer], "actuals", "E-2026-000001", "done.csv", "--json")
    document = json.loads(said.stdout)
    assert (document["taken"], document["lines_taken"], document["refused"][0]["line"]) == (0, [], 5)


def test_the_rest_is_sent_again_when_asked(run: Any) -> None:
    entries = [{"operation": name, "run_min": 5.0} for name in ("a", "b", "c")]
    answers = [
        refusal(("/entries/0/operation", "no such operation")),
        refusal(("/entries/1/run_min", "too much")),
        (201, TAKEN.model_dump_json()),
    ]
    done, requests = run(answers, "actuals", "Q-2026-000001", "-", "--skip-refused", stdin=json.dumps(entries))
    assert [len(json.loads(one.content)["entries"]) for one in requests] == [3, 2, 1]
    assert [one["operation"] for one in json.loads(requests[-1].content)["entries"]] == ["b"]
    assert done.exit_code == 2, "some of it was not taken"
    lines = done.stdout.splitlines()
    assert [line.split(":")[1].strip() for line in lines[:2]] == ["entry 1 operation", "entry 3 run_min"]
    assert lines[2].endswith("(entry 2)")


@pytest.mark.parametrize(
    ("content", "words"), [("", "there is no"), ("{", "not JSON"), ('{"a": 1}', "is no list of entries"), ("operation,good\n", "there is no entry in it")]
)  # fmt: skip
def test_a_file_that_says_nothing_is_named_before_anything_is_sent(run: Any, tmp_path: Path, content: str, words: str) -> None:
    (tmp_path / "done.csv").write_text(content, encoding="utf-8")
    done, requests = run([(201, "{}")], "actuals", "E-2026-000001", "done.csv")
    assert (done.exit_code, requests) == (2, [])
    assert words in done.stderr
    missing, _ = run([(201, "{}")], "actuals", "E-2026-000001", "nowhere.csv")
    assert missing.exit_code == 2


def test_other_refusals_are_said_as_they_are(run: Any) -> None:
    problem = {"type": "/problems#conflict", "title": "The order has ended", "status": 409, "detail": "The order is cancelled."}
    done, _ = run([(409, json.dumps(problem))], "actuals", "E-1", "-", stdin='[{"operation": "a"}]')
    assert (done.exit_code, done.stdout) == (2, "")
    assert "The order has ended" in done.stderr
