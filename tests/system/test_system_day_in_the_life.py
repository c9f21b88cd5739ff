"""An order from the quote to what the rates learn of it, as the sales desk, the ERP and the engineer live through it on a running box.

What happened weeks ago is done with the parts of the box at that day, as its routes know no day but this one.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest
from typer.testing import CliRunner

from services.chassis.one_box import Address
from services.chassis.pipeline import write_section
from services.chassis.resources import Resources, build_resources
from services.chassis.settings import Settings
from services.desk.command import app as command_line
from services.quoting.service.life import decide
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import NewQuote
from shared_schemas.quote_life import DecisionRequest
from shared_schemas.quote_request import QuoteRequest
from tests.system.asking import finished, until

ClientOf = Callable[[str | None], httpx.Client]

TODAY = datetime.now(UTC).date()
ASKED, ORDERED = TODAY - timedelta(days=94), TODAY - timedelta(days=90)
SLOWER = 1.5
"""So many times the planned minutes the polishing takes."""
FURTHER_ORDERS = 5
ORDER = DecisionRequest(
    decision="accepted", quantity=5, by="R. Lindqvist", purchase_order="PO 4711", customer_number="C-19", contact="M. Holm",
    needed_by=TODAY + timedelta(days=60),
)  # fmt: skip


@pytest.fixture
def front_group(demo: dict[str, Any]) -> dict[str, Any]:
    """The first three lenses of the demo, two of them cemented: sooner worked out than the whole."""
    lens = demo["prescription"]
    group = {
        "title": "front group",
        "wavelength_nm": lens["wavelength_nm"],
        "elements": lens["elements"][:3],
        "spaces": lens["spaces"][:2],
    }
    return {**demo, "prescription": group, "quantities": [5, 25]}


@contextmanager
def parts_of(box: Address) -> Iterator[Resources]:
    """What the processes of the box work with."""
    api = psutil.Process(json.loads((box.folder / "state.json").read_text(encoding="utf-8"))["api"]["pid"])
    with pytest.MonkeyPatch.context() as told:
        for name, value in api.environ().items():
            if name.startswith("BLANKWRIGHT_"):
                told.setenv(name, value)
        parts = build_resources(Settings())
    try:
        yield parts
    finally:
        for part in (parts.queue, parts.redis, parts.database, parts.rates._client, parts.load._client):  # type: ignore[attr-defined]
            part.close()


def asked_earlier(parts: Resources, request: dict[str, Any], *, rate_revision: int) -> str:
    """The number of a quote that was asked for weeks ago; the sweeper of the box finds it and works it out as of that day."""
    asked = QuoteRequest.model_validate(request)
    new = NewQuote(
        request=write_section(asked), customer=asked.customer, title=asked.prescription.title, rate_revision=rate_revision,
        quoted_on=ASKED, trace="0" * 32,
    )  # fmt: skip
    begun, _ = QuoteStore(parts.database).accept(new, None, now=noon(ASKED))
    return begun.quote_number


def noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


class Erp:
    """The shop's ERP: it polls the feed with the command line, plans what was ordered, and reports what happened at the machines."""

    def __init__(self, box: Address, client: httpx.Client, folder: Path, number: str) -> None:
        self._client, self._number, self._cursor = client, number, folder / "cursor"
        self._arguments = ["estimates", "--url", box.url, "--key", box.keys["erp"], "--json", "--cursor", str(self._cursor)]
        self._arguments += [word for kind in ("ready", "accepted", "rescheduled") for word in ("--type", kind)]

    def polled(self) -> list[dict[str, Any]]:
        """What happened to the order since it last looked."""
        done = CliRunner().invoke(command_line, self._arguments)
        assert done.exit_code == 0, done.output
        entries = [json.loads(line) for line in done.stdout.splitlines()]
        return [one for one in entries if one["quote_number"] == self._number]

    def read(self, path: str, **query: Any) -> Any:
        """What the suite answers."""
        answer = self._client.get(path, params=query)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def reports(self, *entries: dict[str, Any]) -> dict[str, Any]:
        """Report what happened to some operations; how far the order is with that."""
        answer = self._client.post(f"/v1/orders/{self._number}/actuals", json={"entries": entries})
        assert answer.status_code == 201, answer.text
        progress: dict[str, Any] = answer.json()["progress"]
        return progress

    def order(self) -> dict[str, Any] | None:
        """The order in the book, `None` until it is there."""
        answer = self._client.get(f"/v1/orders/{self._number}")
        found: dict[str, Any] | None = answer.json() if answer.status_code == 200 else None
        return found


def actual(planned: dict[str, Any], day: str) -> dict[str, Any]:
    """What happened to an operation that was finished on a day: polishing took longer, the rest as long as was planned."""
    times = SLOWER if planned["operation"] == "polish" else 1.0
    return {
        "operation": planned["id"], "setup_min": round(planned["setup_min"], 3), "run_min": round(planned["run_min"] * times, 3),
        "started": planned["pieces_in"], "good": planned["pieces_out"], "finished_at": noon(date.fromisoformat(day)).isoformat(),
    }  # fmt: skip


def ordered_now(sales: httpx.Client, requests: list[dict[str, Any]]) -> list[str]:
    """Numbers of quotes that were asked for together and then ordered."""
    batch = sales.post("/v1/quote-batches", json={"requests": requests}, headers={"Prefer": "wait=60"})
    assert batch.status_code == 201, batch.text
    numbers = [one["number"] for one in batch.json()["items"]]
    for number in numbers:
        answer = sales.post(f"/v1/quotes/{number}/decision", json={"decision": "accepted", "quantity": 5, "by": "R. Lindqvist"})
        assert answer.status_code == 200, answer.text
    return numbers


def report_whole(erp: httpx.Client, number: str) -> None:
    """Report that all of an order was done yesterday."""
    until(lambda: erp.get(f"/v1/orders/{number}").status_code == 200)
    plan = erp.get(f"/v1/estimates/E{number.removeprefix('Q')}", params={"view": "plan"}).json()
    entries = [actual(one, str(TODAY - timedelta(days=1))) for one in operations_of(plan)]
    assert erp.post(f"/v1/orders/{number}/actuals", json={"entries": entries}).status_code == 201


def sure_of(learned: dict[str, Any]) -> dict[str, float]:
    """Operations of which it is sure that they take other times than planned, with their ratio."""
    return {one["operation"]: one["ratio"] for row in learned["rows"] for one in row["evidence"] if one["is_sure"]}


def operations_of(plan: dict[str, Any]) -> list[dict[str, Any]]:
    """The operations of a plan one by one, as they come in columns."""
    (figures,) = plan["quantities"]
    columns = figures["operations"]
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


def test_a_day_in_the_life_of_an_order(box: Address, client_of: ClientOf, front_group: dict[str, Any], tmp_path: Path) -> None:
    sales, engineer = client_of("sales"), client_of("engineer")
    revision = engineer.get("/v1/rates/revisions", params={"limit": 1}).json()["items"][0]["number"]

    # Weeks ago the customer asked, and a few days later sent a purchase order for five.
    with parts_of(box) as parts:
        number = asked_earlier(parts, front_group, rate_revision=revision)
        quote = finished(sales, number, within_s=60)
        assert quote["status"] == "ready", quote["problem"]
        decision = decide(number, ORDER, key_id="sales", now=noon(ORDERED), resources=parts)
        assert decision.promised is not None
    quoted = next(one for one in quote["breaks"] if one["quantity"] == 5)
    estimate = "E" + number.removeprefix("Q")

    # The ERP sees the order, once, as it was placed.
    erp = Erp(box, client_of("erp"), tmp_path, number)
    ready, accepted = erp.polled()
    assert (ready["type"], ready["decision"], accepted["type"]) == ("ready", None, "accepted")
    assert (accepted["decision"]["purchase_order"], accepted["decision"]["quantity"]) == ("PO 4711", 5)
    assert erp.polled() == [], "and not a second time"

    # It plans from the production order, which is the quote to the cent; the customer gets the order response.
    plan = erp.read(f"/v1/estimates/{estimate}", view="plan")
    (figures,) = plan["quantities"]
    assert (plan["purchase_order"], plan["customer_number"], plan["needed_by"]) == ("PO 4711", "C-19", str(ORDER.needed_by))
    assert figures["promised_date"] == str(decision.promised.ship_date)
    operations = operations_of(plan)
    lines = {one["kind"]: Decimal(one["amount"]) for one in quoted["lines"]}
    assert sum(Decimal(one["cost"]) for one in operations) == lines["operations"]
    tools = quote["tooling"] if quoted["tooling"] is None else quoted["tooling"]
    assert Decimal(figures["total_payable"]) == Decimal(quoted["total_price"]) + sum(Decimal(tool["charge"]) for tool in tools)
    assert all(one["maker"] and one["order_by"] for one in figures["materials"])
    response = sales.get(f"/v1/quotes/{number}/ubl/order-response").text
    assert "<cbc:ID>PO 4711</cbc:ID>" in response
    assert f"<cbc:EndDate>{ORDER.needed_by}</cbc:EndDate>" in response

    # Day by day it reports what was done at the machines; half of it is done when one of them breaks down.
    until(lambda: erp.order() is not None)
    days = sorted({one["finishes"] for one in operations})
    broke_down = days[len(days) // 2]
    for day in days[: days.index(broke_down)]:
        erp.reports(*(actual(one, day) for one in operations if one["finishes"] == day))

    # Nothing was done since: the order runs late, and says until when.
    order = erp.order()
    assert order is not None
    progress = order["progress"]
    assert progress["done"] == sum(one["finishes"] < broke_down for one in operations) > 0
    assert progress["late"] == len(operations) - progress["done"]
    assert progress["forecast_ship_date"] > order["ship_date"]
    assert Decimal(progress["cost_so_far"]) > Decimal(progress["quoted_cost_so_far"]), "the polishing took longer"

    # The feed tells the ERP so too: the day to which the order moved.
    moves: list[dict[str, Any]] = []
    until(lambda: bool(moves.extend(erp.polled()) or moves))
    assert {one["type"] for one in moves} == {"rescheduled"}
    assert moves[0]["rescheduled"]["old_date"] == order["ship_date"]
    assert moves[-1]["rescheduled"]["cause"] == "work_reported"

    # The machine runs again, and the rest is done at once.
    progress = erp.reports(*(actual(one, str(TODAY - timedelta(days=1))) for one in operations if one["finishes"] >= broke_down))
    assert (progress["done"], len(progress["operations"])) == (len(operations), len(operations))
    done = client_of("erp").post(f"/v1/orders/{number}/completion").json()
    assert (done["state"], done["booked_h"]) == ("completed", 0.0)

    # One order is no ground to change a rate. When as much was heard of the next ones, the engineer is told: the polishing, and nothing else.
    learned = engineer.get("/v1/rates/learned").json()
    assert (learned["orders"], sure_of(learned)) == (1, {})
    single = {
        **front_group,
        "prescription": {**front_group["prescription"], "elements": front_group["prescription"]["elements"][:1], "spaces": []},
    }
    for further in ordered_now(sales, [single] * FURTHER_ORDERS):
        report_whole(client_of("erp"), further)
    learned = engineer.get("/v1/rates/learned").json()
    slow = sure_of(learned)
    assert set(slow) == {"polish"}
    assert 1.2 < slow["polish"] <= SLOWER, "drawn towards the present rate"

    # How true quotes came says the same of the finished jobs.
    report = engineer.get("/v1/accuracy").json()
    assert report["jobs"] == 1 + FURTHER_ORDERS
    ratios = {
        group["name"]: measure["median_ratio"]
        for group in report["by_operation"]
        for measure in group["measures"]
        if measure["measure"] == "hours" and measure["median_ratio"] is not None
    }
    assert [name for name, ratio in ratios.items() if ratio > 1.01] == ["polish"], ratios
