"""The command of an engineer who would change a rate table: what it sends, what it prints, and how it names what is wrong."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from services.desk.command import app

THERE = ["--url", "http://desk.test", "--key", "k"]
ACCEPTED = {"number": "I-2026-000001", "status": "working", "quotes": 2, "links": {}}


def amounts(issued: str, today: str, draft: str) -> dict[str, str]:
    drift, effect = Decimal(today) - Decimal(issued), Decimal(draft) - Decimal(today)
    return {"issued": issued, "today": today, "draft": draft, "drift": str(drift), "effect": str(effect)}


def impacted(place: int, number: str, **changes: Any) -> dict[str, Any]:
    count = {"issued": 51, "today": 51, "draft": 53, "drift": 0, "effect": 2}
    one = {
        "quantity": 25, "unit_price": amounts("3252.00", "3200.00", "3220.50"), "drift_share": -0.016, "effect_share": 0.0064,
        "total_price": amounts("81300", "80000", "80512.5"), "unit_cost": amounts("1", "1", "2"), "p50_days": count, "p90_days": count,
        "price_kept": {"margin_share_issued": 0.28, "margin_share_today": 0.28, "margin_share_draft": 0.276,
                       "loss_chance_issued": 0.01, "loss_chance_today": 0.01, "loss_chance_draft": 0.02},
    }  # fmt: skip
    return {
        "place": place, "number": number, "revision": 1, "customer": "A", "title": "t", "issued_at": 1, "today_as_issued": False,
        "unread": False, "outcome": "ready", "today": "ready",
        "figures": {"currency": "USD", "breaks": [one], "tooling": amounts("0", "0", "0")}, **changes,
    }  # fmt: skip


def document(**changes: Any) -> dict[str, Any]:
    mover = {
        "number": "Q-2026-000001", "revision": 1, "customer": "A", "quantity": 25, "share": 0.0064,
        "unit_price": amounts("3252.00", "3200.00", "3220.50"), "currency": "USD",
    }  # fmt: skip
    sums = [
        {"currency": "USD", "quotes": 1, "smallest": amounts("5.00", "5.50", "6.00"), "middle": amounts("7.00", "7.00", "7.00")}
    ]
    totals = {"changed": 1, "dearer": 1, "cheaper": 0, "drifted": 1, "newly_refused": 1, "newly_quotable": 0,
              "largest_movers": [mover], "sums": sums}  # fmt: skip
    problem = {"type": "/problems#refused", "title": "t", "status": 422, "detail": "No row names the saw."}
    return {
        "number": "I-2026-000001", "status": "done", "tables": ["polishing"], "draft": None, "proposal": -1, "proposal_digest": "d",
        "base_revision": 4, "created_at": "2026-11-02T09:00:00Z", "asked_by": "e", "quotes": 2, "worked_out": 2,
        "counts": {"in_work": 0, "ready": 1, "refused": 1, "failed": 0}, "totals": totals,
        "by_customer": [{"customer": "A", "totals": totals}, {"customer": "", "totals": {**totals, "newly_refused": 0, "sums": []}}],
        "items": [impacted(0, "Q-2026-000001"),
                  impacted(1, "Q-2026-000002", outcome="refused", newly_refused=True, figures=None, problem=problem)],
        **changes,
    }  # fmt: skip


@pytest.fixture
def run(server: Any, reach: Any) -> Any:
    """`run(answers, *arguments)` is what the command says to a server that answers from a list, and the server."""

    def ran(answers: list[Any], *arguments: object) -> tuple[Any, Any]:
        fake = server(*answers)

        reach(fake.transport)
        return CliRunner().invoke(app, ["impact", *map(str, arguments), *THERE]), fake

    return ran


@pytest.fixture
def table(tmp_path: Path) -> Path:
    place = tmp_path / "polishing.csv"
    place.write_text("name,source\nsoft,tést\n", encoding="utf-8")
    return place


def test_a_table_in_csv_is_sent_as_it_is_and_its_impact_is_printed(run: Any, table: Path) -> None:
    said, fake = run(
        [(202, ACCEPTED), (200, document(status="working")), (200, document())], table, "--quote", "Q-1", "--quote", "Q-2"
    )
    assert said.exit_code == 0, said.output
    sent = fake.requests[0]
    assert sent.url.path == "/v1/rates/impact"
    assert sent.url.params.get_list("quotes") == ["Q-1", "Q-2"]
    assert sent.url.params["table"] == "polishing"
    assert sent.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert sent.content == table.read_bytes()
    assert [request.url.path for request in fake.requests[1:]] == ["/v1/rates/impact/I-2026-000001"] * 2
    for words in (
        "polishing as proposed against rate revision 4. Nothing is published", "Q-2026-000001 USD", "3,252.00", "-52.00", "+20.50", "+0.6%",
        "28.0% → 27.6%", "1.0% → 2.0%", "51 +2", "Q-2026-000002 would be newly refused: No row names the saw.",
        "the draft: 1 changed, 1 dearer, 0 cheaper, 1 newly refused of 1 quotes, 1 refused", "drift: 1 of them",
        "+0.6% for 25 of Q-2026-000001", "5.00 as issued, drift +0.50, today 5.50, effect +0.50, with the draft 6.00 USD",
        "no customer: 1 changed", "2 of 2 worked out",
    ):  # fmt: skip
        assert words in said.output, said.output


@pytest.mark.parametrize("around", [lambda rows: rows, lambda rows: {"table": "x", "revision": 3, "rows": rows}])
def test_rows_in_json_are_sent_as_json(run: Any, tmp_path: Path, around: Any) -> None:
    place = tmp_path / "rows.json"
    place.write_text(json.dumps(around([{"name": "soft"}])), encoding="utf-8")
    said, fake = run([(202, ACCEPTED), (200, document())], place, "--table", "polishing", "--most", 7, "--json")
    assert json.loads(fake.requests[0].content) == {"table": "polishing", "rows": [{"name": "soft"}], "most": 7}
    assert json.loads(said.stdout)["number"] == "I-2026-000001"


def test_a_draft_is_held_against_the_quotes_that_are_chosen(run: Any) -> None:
    chosen = ("--draft", 3, "--customer", "A", "--since", "2026-11-02", "--refused")
    said, fake = run([(202, ACCEPTED), (200, document(draft=3))], *chosen)
    sent = {"draft": 3, "most": 2000, "customer": "A", "issued_since": "2026-11-02", "refused": True}
    assert json.loads(fake.requests[0].content) == sent
    assert "draft 3, which changes polishing, against rate revision 4" in said.output


def test_a_wrong_cell_is_named(run: Any, table: Path) -> None:
    error = {
        "pointer": "/rows/2/pressure_pa",
        "reason": "Input should be greater than 0",
        "figure": -1,
        "limit": 0,
        "remedy": "above 0",
    }
    problem = {"type": "/problems#invalid", "title": "t", "status": 422, "detail": "1 cell.", "errors": [error]}
    said, _ = run([(422, problem)], table)
    assert said.exit_code == 2
    assert "line 4, pressure_pa: Input should be greater than 0 (-1; limit 0). What would do: above 0." in said.output


def test_an_impact_of_before_is_printed_page_by_page(run: Any) -> None:
    said, fake = run([(200, document(next="zz"))], "--number", "I-2026-000001", "--cursor", "aa")
    assert said.exit_code == 0, said.output
    assert "blankwright impact --number I-2026-000001 --cursor zz" in said.output
    assert fake.requests[0].url.params["cursor"] == "aa"


def test_an_impact_that_takes_too_long_can_be_looked_at_again(run: Any, table: Path) -> None:
    said, _ = run([(202, ACCEPTED), (200, document(status="working"))], table, "--timeout", "0.1")
    assert said.exit_code == 1
    assert "blankwright impact --number I-2026-000001" in said.output


def test_one_of_a_table_and_a_number_is_needed(run: Any, table: Path) -> None:
    for arguments in ((), (table, "--number", "I-2026-000001")):
        said, fake = run([], *arguments)
        assert said.exit_code == 2
        assert fake.requests == []


@pytest.mark.parametrize(("name", "content"), [("a.json", b"{"), ("a.json", b'{"table": 1}'), ("a.json", b"3"), ("a.csv", b"\xff\xfe\xff"), ("a.csv", b"x" * 2**21)])  # fmt: skip
def test_a_file_that_is_no_table_is_refused_at_the_desk(run: Any, tmp_path: Path, name: str, content: bytes) -> None:
    place = tmp_path / name
    place.write_bytes(content)
    said, fake = run([], place)
    assert said.exit_code == 2, said.output
    assert name in said.output
    assert fake.requests == []
