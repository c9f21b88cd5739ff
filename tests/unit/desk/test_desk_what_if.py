"""What-ifs at the desk: copies as they are written, what is sent, what is printed, faults in the words that were written."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from services.desk.command import app
from services.desk.commands.what_if import copies_in
from services.desk.texts.page_parts import console_for
from services.desk.texts.what_if import what_if_page
from shared_schemas.lead_times import Line
from shared_schemas.problem import Problem
from shared_schemas.quote_life import ChangedPlace
from shared_schemas.what_if import (
    FiguresAtQuantity,
    FiguresOfCopy,
    MovedAtQuantity,
    MovedLine,
    ToldFinding,
    WhatIf,
    WhatIfCopy,
)

ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]


def test_copies_are_read_in_the_order_they_are_met_and_one_named_again_has_both_changes() -> None:
    copies = copies_in(
        [
            "looser=elements.L2.front.form=3/5(1)", "as it is", "rebate=worksheet:/prices/25/unit_price=120.00",
            "looser=quantities=[5]", "rebate=worksheet:/terms/margin_share=0.2", "rebate=rates=3",
        ]
    )  # fmt: skip
    assert [one.document() for one in copies] == [
        {
            "name": "looser", "rate_revision": None,
            "patch": [
                {"op": "add", "path": "/elements/L2/front/form", "value": "3/5(1)"},
                {"op": "add", "path": "/quantities", "value": [5]},
            ],
        },
        {"name": "as it is", "rate_revision": None},
        {
            "name": "rebate", "rate_revision": 3,
            "overrides": [
                {"pointer": "/prices/25/unit_price", "value": "120.00"}, {"pointer": "/terms/margin_share", "value": 0.2},
            ],
        },
    ]  # fmt: skip


@pytest.mark.parametrize(
    "written", ["=title=x", "a=rates=none", "a=rates=0", "a=worksheet:prices=1", "a=worksheet:/prices", "a=b", "a=x..y=1"]
)
def test_a_copy_that_says_nothing_is_refused_with_what_would_do(written: str) -> None:
    with pytest.raises(typer.BadParameter, match="write"):
        copies_in([written])


def at(quantity: int, unit: str, days: int) -> FiguresAtQuantity:
    price = Decimal(unit)
    return FiguresAtQuantity(
        quantity=quantity, unit_price=price, total_price=price * quantity, unit_cost=price / 2,
        lines=(Line(name="Glass", kind="material", amount=price * quantity),), p50_days=days - 5, p90_days=days,
        ship_date=date(2027, 1, days), start_quantities={"L1": quantity + 1}, margin_share=0.21, loss_chance=0.034,
    )  # fmt: skip


def what_if() -> WhatIf:
    issued = FiguresOfCopy(currency="USD", quantities=(at(5, "100.00", 20), at(1000, "50.00", 30)), tooling=Decimal("140.00"))
    looser = issued.model_copy(update={"quantities": (at(5, "90.00", 18), at(1000, "45.00", 30))})
    moved = MovedAtQuantity(
        quantity=5, unit_price=Decimal("-10.00"), unit_price_share=-0.1, unit_cost=Decimal("-5.00"), p90_days=-2, ship_date_days=-2,
        margin_share=0.0, lines=(MovedLine(name="Polishing", difference=Decimal("-50.00")),),
    )  # fmt: skip
    form = ChangedPlace(pointer="/prescription/elements/L2/front/form", old="3/2(0.5)", new="3/5(1)")
    finding = ToldFinding(code="loose", severity="note", where="L2 front form", message="It is [bold]loose.")
    refused = Problem(type="/problems#refused", title="No", status=422, detail="The lens has a knife edge.")
    return WhatIf(
        number="W-2026-000007", status="done", quote_number="Q-2026-000001", revision=2, rate_revision=3, quoted_on=date(2026, 12, 1),
        created_at=datetime(2026, 12, 2, tzinfo=UTC), kept_until=date(2026, 12, 16), asked_by="A", worked_out=3, issued=issued,
        copies=(
            WhatIfCopy(
                name="looser on the second face of all", rate_revision=3, outcome="ready", changed=(form,), figures=looser, moved=(moved,),
                new_findings=(finding,), gone_findings=(finding.model_copy(update={"where": "L3"}),),
            ),
            WhatIfCopy(name="thin", rate_revision=3, outcome="refused", changed=(), problem=refused),
        ),
    )  # fmt: skip


def test_copies_are_printed_beside_the_quote_within_80_columns() -> None:
    out = io.StringIO()
    console_for(out).print(what_if_page(what_if()))
    lines = out.getvalue().splitlines()
    first, last = (next(place for place, line in enumerate(lines) if line.startswith(head)) for head in ("Beside", "Changed"))
    assert max(map(len, lines[first:last])) <= 80
    table = [" ".join(line.split()) for line in lines]
    assert "5 as issued 100.00 50.00 20 21% 3.4%" in table
    assert "looser on the… 90.00 -10.0% 45.00 18 -2 21% 3.4%" in table
    assert "1,000 as issued 50.00 25.00 30 21% 3.4%" in table
    whole = " ".join(table)
    for told in (
        "/elements/L2/front/form 3/2(0.5) → 3/5(1)",
        "Polishing -50.00",
        "It is [bold]loose.",
        "No longer found",
        "knife edge",
    ):
        assert told in whole


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, server: Callable[..., Any], reach: Any) -> Callable[..., Any]:
    monkeypatch.chdir(tmp_path)

    def ran(answers: list[Any], *arguments: str) -> Any:
        fake = server(*answers)
        reach(fake.transport)
        done = CliRunner().invoke(app, [*arguments, *ANY_SERVER])
        done.requests = fake.requests  # type: ignore[attr-defined]
        return done

    return ran


def test_a_what_if_is_asked_for_and_awaited(run: Any) -> None:
    accepted = {"number": "W-2026-000007", "status": "working", "copies": 1, "links": {}}
    found = what_if().model_dump(mode="json")
    done = run([(202, accepted), (200, found)], "what-if", "Q-2026-000001", "--copy", "a=title=u", "--json")
    assert done.exit_code == 0, done.output
    asked, looked = done.requests
    assert (asked.method, asked.url.path) == ("POST", "/v1/quotes/Q-2026-000001/what-if")
    assert json.loads(asked.content)["copies"][0]["name"] == "a"
    assert looked.url.path == "/v1/what-ifs/W-2026-000007"
    assert json.loads(done.stdout)["number"] == "W-2026-000007"
    again = run([(200, found)], "what-if", "W-2026-000007")
    assert "looser" in again.stdout


def test_what_no_copy_can_be_ends_the_command_as_refused(run: Any) -> None:
    found = what_if().model_copy(update={"copies": what_if().copies[1:]}).model_dump(mode="json")
    assert run([(200, found)], "what-if", "W-2026-000007").exit_code == 3


def test_a_fault_is_told_by_copy_and_words(run: Any) -> None:
    pointers = ["/copies/0/patch/0/path", "/copies/0/overrides/0/pointer", "/copies/1/name", "/copies/1/patch/7/path", "/copies"]
    errors = [{"pointer": one, "reason": "no"} for one in pointers]
    problem = {"type": "/problems#invalid", "title": "No", "status": 422, "detail": "No.", "errors": errors}
    done = run(
        [(422, problem)], "what-if", "Q-1", "--copy", "a=title=u", "--copy", "a=worksheet:/terms/margin=0.1", "--copy", "b", "--json"
    )  # fmt: skip
    assert done.exit_code == 2
    assert [one["pointer"] for one in json.loads(done.stdout)["errors"]] == [
        "a=title", "a=worksheet:/terms/margin, /pointer", "b, /name", "b=/patch/7", "/copies",
    ]  # fmt: skip


@pytest.mark.parametrize("arguments", [["Q-2026-000001"], ["W-2026-000001", "--copy", "a"]])
def test_a_quote_needs_copies_and_a_what_if_takes_none(run: Any, arguments: list[str]) -> None:
    assert run([], "what-if", *arguments).exit_code == 2
