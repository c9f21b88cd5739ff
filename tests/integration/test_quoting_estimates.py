"""One estimate through its route: what an ERP plans from, in the forms it may ask for, before and after the order."""

from __future__ import annotations

import csv
import io
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from shared_schemas.estimate import Estimate, EstimatePlan
from shared_schemas.rates import Rates
from tests.integration.test_quoting_handovers import Shop, accepted, handed_over, number, one_element, shop

__all__ = ["number", "one_element", "shop"]


def estimate_of(number: str) -> str:
    return f"/v1/estimates/{number.replace('Q', 'E', 1)}"


def test_an_open_quote_is_planned_at_every_quantity_with_its_tools_and_its_cents(shop: Shop, number: str) -> None:
    quote = shop.get(f"/v1/quotes/{number}")
    answer = shop.ask("GET", estimate_of(number), role="erp")
    full = Estimate.model_validate_json(answer.content)
    assert full.quoted_quantities == tuple(one["quantity"] for one in quote["breaks"])
    assert full.ordered_quantity is None
    for found, quoted in zip(full.quantities, quote["breaks"], strict=True):
        lines = {one["kind"]: Decimal(one["amount"]) for one in quoted["lines"]}
        assert sum(one.cost for one in found.operations) == lines["operations"]
        assert found.operations_difference == 0
        tools = quote["tooling"] if quoted["tooling"] is None else quoted["tooling"]
        assert found.total_payable == Decimal(quoted["total_price"]) + sum(Decimal(tool["charge"]) for tool in tools)
    centres = {one.id for one in full.work_centres}
    assert {one.work_centre for found in full.quantities for one in found.operations} == centres


def test_an_accepted_order_is_planned_at_its_quantity_from_the_day_it_was_accepted(shop: Shop, number: str) -> None:
    shop.now += timedelta(days=14)
    promised = accepted(shop, number)["promised"]
    plan = EstimatePlan.model_validate_json(shop.ask("GET", f"{estimate_of(number)}?view=plan", role="erp").content)
    (figures,) = plan.quantities
    assert (plan.ordered_quantity, figures.quantity) == (5, 5)
    assert figures.promised_date == date.fromisoformat(promised["ship_date"])
    (entry,) = handed_over(shop)
    handed = [(one.id, one.part, one.begins, one.ends) for one in entry.accepted.operations]
    planned = figures.operations
    assert list(zip(planned.id, planned.part, planned.starts, planned.finishes, strict=True)) == handed
    assert min(one for one in planned.starts if one) >= shop.now.date()
    assert "basis" not in plan.model_dump_json()


def test_who_has_an_estimate_is_told_so_until_it_is_decided_on(shop: Shop, number: str) -> None:
    place = f"{estimate_of(number)}?view=plan"
    first = shop.ask("GET", place, role="erp")
    head = shop.ask("HEAD", place, role="erp")
    assert (head.status_code, head.content, head.headers["ETag"]) == (200, b"", first.headers["ETag"])
    known = {"If-None-Match": first.headers["ETag"]}
    again = shop.ask("GET", place, role="erp", headers=known)
    assert (again.status_code, again.content) == (304, b"")
    assert shop.ask("GET", estimate_of(number), role="erp", headers=known).status_code == 200, "another view is another document"
    accepted(shop, number)
    assert shop.ask("GET", place, role="erp", headers=known).status_code == 200


def table(shop: Shop, place: str, **query: Any) -> list[dict[str, str]]:
    answer = shop.ask("GET", place, role="erp", params=query, headers={"Accept": "text/csv"})
    assert answer.headers["Content-Type"].startswith("text/csv")
    return list(csv.DictReader(io.StringIO(answer.text)))


def test_the_lists_come_as_tables_with_the_figures_of_the_document(shop: Shop, number: str) -> None:
    full = shop.get(estimate_of(number), role="erp")
    operations = table(shop, estimate_of(number))
    figures = [one for found in full["quantities"] for one in found["operations"]]
    assert [(row["id"], row["cost"], row["run_min"]) for row in operations] == [
        (one["id"], one["cost"], str(one["run_min"])) for one in figures
    ]
    materials = table(shop, estimate_of(number), part="materials", quantity=5)
    assert {row["kind"] for row in materials} >= {"glass", "blank"}
    assert {row["quantity"] for row in materials} == {"5"}
    tools = table(shop, estimate_of(number), part="tooling", quantity=5)
    assert [row["charge"] for row in tools] == [one["charge"] for one in full["quantities"][0]["tooling"]]


def test_glass_says_who_melts_it_and_from_whom_it_is_ordered_where_the_stock_says_so(
    shop: Shop, number: str, one_element: dict[str, Any], rates: Rates
) -> None:
    (silent,) = shop.get(f"{estimate_of(number)}?quantity=5", role="erp")["quantities"]
    melted = {row.name: row.maker for row in rates.glasses}
    assert [one["maker"] for one in silent["materials"]] == [melted[one["glass"]] for one in silent["materials"]]
    assert not any("supplier" in one for one in silent["materials"])
    named = tuple(row.model_copy(update={"supplier": f"dealer in {row.glass}"}) for row in rates.stock_forms)
    shop.book.publish(rates.model_copy(update={"stock_forms": named}))
    again = shop.quoted(one_element)
    (told,) = shop.get(f"{estimate_of(again)}?quantity=5", role="erp")["quantities"]
    assert [one["supplier"] for one in told["materials"]] == [f"dealer in {one['glass']}" for one in told["materials"]]
    rows = [row for row in table(shop, estimate_of(again), part="materials", quantity=5) if row["kind"] == "glass"]
    assert [row["supplier"] for row in rows] == [one["supplier"] for one in told["materials"]]


def test_cells_that_a_spreadsheet_would_calculate_are_guarded(shop: Shop, one_element: dict[str, Any]) -> None:
    one_element["prescription"]["elements"][0]["name"] = "=1+1"
    rows = table(shop, estimate_of(shop.quoted(one_element)), part="operations")
    assert rows[0]["part"] == "'=1+1"


def test_what_cannot_be_asked_of_an_estimate_is_named(shop: Shop, number: str) -> None:
    place = estimate_of(number)
    for wrong, pointer in (("quantity=6", "/quantity"), ("view=some", "/view"), ("part=glass", "/part"), ("views=full", "/views")):
        answer = shop.ask("GET", f"{place}?{wrong}", role="erp")
        assert answer.status_code == 422, wrong
        assert pointer.strip("/") in answer.text
    assert shop.ask("GET", place, role="erp", headers={"Accept": "application/pdf"}).status_code == 406
    assert shop.ask("GET", place, role="sales").status_code == 403
    assert shop.ask("GET", "/v1/estimates/E-2026-999999", role="erp").status_code == 404
    assert shop.ask("GET", f"/v1/estimates/{number}", role="erp").status_code == 404


def test_a_quotation_and_once_it_is_accepted_an_order_response_are_had_as_xml(shop: Shop, number: str) -> None:
    place = f"/v1/quotes/{number}/ubl"
    first = shop.ask("GET", f"{place}/quotation")
    assert (first.status_code, first.headers["Content-Type"]) == (200, "application/xml")
    known = {"If-None-Match": first.headers["ETag"]}
    assert shop.ask("GET", f"{place}/quotation", headers=known).status_code == 304
    assert "RequestedDeliveryPeriod" not in first.text, "nobody said a day"
    early = shop.ask("GET", f"{place}/order-response")
    assert (early.status_code, "is not accepted" in early.text) == (409, True)
    promised = accepted(shop, number, needed_by="2027-06-30")["promised"]["ship_date"]
    assert f"<cbc:EndDate>{promised}</cbc:EndDate>" in shop.ask("GET", f"{place}/order-response").text
    assert "<cbc:EndDate>2027-06-30</cbc:EndDate>" in shop.ask("GET", f"{place}/order-response").text
    assert shop.ask("GET", f"{place}/invoice").status_code == 422
    assert shop.ask("GET", f"{place}/quotation", headers={"Accept": "text/html"}).status_code == 406
