"""Orders at the desk: what the commands estimate and ubl ask for, print and write."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner

from services.desk.command import app
from shared_schemas.estimate import EstimatedMaterial, EstimatedTool, EstimatePlan, OperationColumns, PlannedQuantity

ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]
DAY = date(2026, 11, 30)


def plan() -> EstimatePlan:
    operations = OperationColumns.model_validate(
        {
            "id": ["L1-saw", "L1-polish-front"], "sequence": [10, 20], "part": ["L1", "L1"], "operation": ["saw", "polish"],
            "work_centre": ["slab-saw", "spindles"], "pieces_in": [12, 11], "pieces_out": [11, 10], "batches": [1, 2],
            "setup_min": [15.0, 25.0], "run_min": [45.0, 95.0], "labour_min": [30.0, 60.0], "consumables": ["0", "14"],
            "cost": ["58.52", "90.00"], "yield": [0.99, 0.98], "starts": [DAY, date(2026, 12, 1)], "finishes": [DAY, date(2026, 12, 4)],
        }
    )  # fmt: skip
    glass = EstimatedMaterial(
        id="slab", item="N-BK7 slab 160x160x40", glass="N-BK7", form="slab", parts=("L1",), pieces=1, mass_kg=2.5, lead_days=10.0,
        order_by=date(2026, 11, 20), cost=Decimal("120.00"),
    )  # fmt: skip
    tool = EstimatedTool(
        id="t", item="radius tool 50 mm", part="L1", charge=Decimal("180.00"), days=5.0, order_by=date(2026, 11, 25)
    )
    figures = PlannedQuantity(
        quantity=10, start_quantities={"L1": 12}, unit_price=Decimal("50.00"), lines=(), total_price=Decimal("500.00"),
        tooling_charges=Decimal("180.00"), total_payable=Decimal("680.00"), unit_cost=Decimal(30), ship_date=date(2026, 12, 20),
        promised_date=date(2026, 12, 22), materials=(glass,), tooling=(tool,), operations_difference=Decimal(0), operations=operations,
    )  # fmt: skip
    return EstimatePlan(
        number="E-2026-000001", quote_number="Q-2026-000001", revision=1, title="doublet", customer="Tarn & Fell", purchase_order="PO-7",
        ordered_quantity=10, quoted_quantities=(10, 50), currency="USD", rate_revision=1, finished_at=datetime(2026, 11, 2, tzinfo=UTC),
        work_centres=(), parts=(), quantities=(figures,),
    )  # fmt: skip


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, reach: Any) -> Callable[..., Any]:
    """`run(body, kind, *arguments)` runs the command against a server that gives that body."""
    monkeypatch.chdir(tmp_path)

    def ran(body: str, kind: str, *arguments: str) -> Any:
        requests: list[Any] = []

        def answered(request: Any) -> Any:
            requests.append(request)
            return httpx.Response(200, text=body, headers={"Content-Type": kind})

        reach(httpx.MockTransport(answered))
        done = CliRunner().invoke(app, [*arguments, *ANY_SERVER])
        assert done.exit_code == 0, done.output
        return done.stdout, requests[-1]

    return ran


def test_a_production_order_is_told_by_the_hours_of_its_parts_and_what_is_to_be_ordered(run: Any) -> None:
    told, asked = run(plan().model_dump_json(), "application/json", "estimate", "Q-2026-000001", "--quantity", "10")
    assert (asked.url.path, asked.url.params["view"], asked.url.params["quantity"]) == ("/v1/estimates/E-2026-000001", "plan", "10")
    lines = told.splitlines()
    assert lines[0] == "E-2026-000001: 10 x doublet, ordered, for Tarn & Fell"
    assert lines[1:3] == ["purchase order PO-7", "promised for 2026-12-22"]
    assert lines[5].split() == ["L1", "12", "3.0", "1.5", "2026-11-30", "to", "2026-12-04"]
    assert lines[-4:-2] == ["2026-11-20  N-BK7 slab 160x160x40", "2026-11-25  radius tool 50 mm"]
    assert lines[-1] == "payable 680.00 USD, of which tools 180.00"
    assert max(len(line) for line in lines) <= 80


def test_lists_and_ubl_documents_are_written_as_they_come(run: Any, tmp_path: Path) -> None:
    table = "quantity,id\r\n10,L1-saw\r\n"
    _, asked = run(table, "text/csv; charset=utf-8", "estimate", "E-2026-000001", "--csv", "operations", "--out", "work.csv")
    assert asked.headers["Accept"].startswith("text/csv")
    assert (tmp_path / "work.csv").read_bytes() == table.encode()
    told, asked = run("<Quotation/>", "application/xml", "ubl", "Q-2026-000001", "--document", "order-response")
    assert asked.url.path == "/v1/quotes/Q-2026-000001/ubl/order-response"
    assert told.strip() == "<Quotation/>"
