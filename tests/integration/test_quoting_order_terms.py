"""What an order has beside lenses and quantities, through intake, quote, sheet, estimate, decision and UBL."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest

from shared_schemas.quote_request import QuoteRequest
from tests.integration.test_quoting_estimates import estimate_of
from tests.integration.test_quoting_handovers import Shop, accepted, one_element, shop

__all__ = ["one_element", "shop"]

SAID = {"reference": "RFQ 7-2231 <b>", "contact": "R. Lindqvist", "purchase_terms": "Net 30 days, ours of 2026"}


@pytest.fixture
def number(shop: Shop, one_element: dict[str, Any]) -> str:
    """Number of a ready quote whose request says everything that is the customer's own."""
    shop.load.make()
    return shop.quoted(one_element | SAID)


def test_what_the_customer_calls_a_request_is_told_wherever_the_request_is(shop: Shop, number: str) -> None:
    quote = shop.get(f"/v1/quotes/{number}")
    assert quote["order"] == SAID
    assert [one["reference"] for one in shop.get("/v1/quotes")["items"]] == [SAID["reference"]]
    sheet = shop.ask("GET", f"/v1/quotes/{number}/sheet").text
    assert "<dt>Your reference</dt><dd>RFQ 7-2231 &lt;b&gt;</dd>" in sheet
    assert "R. Lindqvist" in sheet.split("<main", 1)[0], "among those to whom it is addressed"
    assert "<dt>Your purchase terms</dt><dd>Net 30 days, ours of 2026</dd>" in sheet
    estimate = shop.get(estimate_of(number), role="erp")
    assert {name: estimate[name] for name in SAID} == SAID
    quotation = shop.ask("GET", f"/v1/quotes/{number}/ubl/quotation").text
    assert quotation.index("<cac:RequestForQuotationDocumentReference>") < quotation.index("<cac:SellerSupplierParty")
    assert "RFQ 7-2231 &lt;b&gt;" in quotation


def test_an_acceptance_that_names_nobody_is_by_whom_the_request_names(shop: Shop, number: str) -> None:
    first = accepted(shop, number)
    assert first["contact"] == "R. Lindqvist"
    assert accepted(shop, number) == first
    assert "<cbc:CustomerReference>RFQ 7-2231" in shop.ask("GET", f"/v1/quotes/{number}/ubl/order-response").text


def test_a_quote_gives_out_what_it_was_asked_as(shop: Shop, one_element: dict[str, Any], number: str) -> None:
    asked = QuoteRequest.model_validate(one_element | SAID)
    assert QuoteRequest.model_validate(shop.get(f"/v1/quotes/{number}/request")) == asked
    assert shop.ask("GET", "/v1/quotes/Q-2026-999999/request").status_code == 404


def test_an_acceptance_that_names_somebody_is_by_him(shop: Shop, number: str) -> None:
    assert accepted(shop, number, contact="A. Moss")["contact"] == "A. Moss"


def test_a_request_without_them_says_nothing_of_them(shop: Shop, one_element: dict[str, Any]) -> None:
    silent = shop.quoted(one_element)
    assert "order" not in shop.get(f"/v1/quotes/{silent}")
    assert "reference" not in shop.ask("GET", "/v1/quotes").text
    assert not {"reference", "purchase_terms"} & set(shop.get(estimate_of(silent), role="erp"))
    assert "Your" not in shop.ask("GET", f"/v1/quotes/{silent}/sheet").text


def test_spare_parts_have_a_price_of_their_own_wherever_the_price_is(shop: Shop, one_element: dict[str, Any]) -> None:
    alone = shop.get(f"/v1/quotes/{shop.quoted(one_element)}")["breaks"][0]
    number = shop.quoted(one_element | {"spares": [{"part": "L1", "pieces": 3}]})
    price_break = shop.get(f"/v1/quotes/{number}")["breaks"][0]
    (spare,) = price_break["spare_parts"]
    assert price_break["unit_price"] == alone["unit_price"]
    assert Decimal(price_break["total_price"]) == Decimal(alone["total_price"]) + 3 * Decimal(spare["unit_price"])
    assert price_break["start_quantities"]["L1"] > alone["start_quantities"]["L1"]
    sheet = shop.ask("GET", f"/v1/quotes/{number}/sheet").text
    assert "Spare part" in sheet
    assert f"{Decimal(spare['amount']):,}" in sheet
    explained = shop.get(f"/v1/quotes/{number}/explanation?of=/breaks/0/spare_parts/0/unit_price")
    assert explained["formula"]
    assert shop.get(estimate_of(number), role="erp")["quantities"][0]["spare_parts"] == [spare]
    quotation = shop.ask("GET", f"/v1/quotes/{number}/ubl/quotation").text
    assert f">{spare['unit_price']}</cbc:PriceAmount>" in quotation
    assert f">{alone['total_price']}</cbc:LineExtensionAmount>" in quotation
    assert "<cbc:LineCountNumeric>2</cbc:LineCountNumeric>" in quotation
    accepted(shop, number)
    assert shop.ask("GET", f"/v1/quotes/{number}/ubl/order-response").text.count("<cac:OrderLine>") == 2


def test_spare_parts_that_the_lens_does_not_have_are_refused_at_their_place(shop: Shop, one_element: dict[str, Any]) -> None:
    spares = [{"part": "L1", "pieces": 1}, {"part": "L2", "pieces": 1}, {"part": "L1", "pieces": 2}]
    answer = shop.ask("POST", "/v1/quotes", json=one_element | {"spares": spares})
    assert answer.status_code == 422
    assert [one["pointer"] for one in answer.json()["errors"]] == ["/spares/1/part", "/spares/2/part"]


def test_deliveries_of_a_request_are_priced_dated_and_taken_over_by_the_acceptance(shop: Shop, one_element: dict[str, Any]) -> None:
    alone = shop.get(f"/v1/quotes/{shop.quoted(one_element)}")["breaks"][0]
    deliveries = [{"quantity": 2, "by": None}, {"quantity": 3, "by": "2027-12-24"}]
    number = shop.quoted(one_element | {"deliveries": deliveries})
    price_break = shop.get(f"/v1/quotes/{number}")["breaks"][0]
    charge = Decimal(price_break["total_price"]) - Decimal(alone["total_price"])
    assert [Decimal(line["amount"]) for line in price_break["lines"] if line["kind"] == "deliveries"] == [charge]
    assert "Delivered together" in shop.ask("GET", f"/v1/quotes/{number}/sheet").text
    quotation = shop.ask("GET", f"/v1/quotes/{number}/ubl/quotation").text
    assert f">{charge}</cbc:Amount>" in quotation
    assert f">{alone['total_price']}</cbc:LineExtensionAmount>" in quotation
    promised = accepted(shop, number)["promised"]["deliveries"]
    assert [(one["quantity"], one["by"]) for one in promised] == [(one["quantity"], one["by"]) for one in deliveries]


def test_a_repeated_order_has_its_tools_and_is_not_charged_for_them_again(shop: Shop, one_element: dict[str, Any]) -> None:
    first = shop.quoted(one_element)
    charged = [one["name"] for one in shop.get(f"/v1/quotes/{first}")["tooling"]]
    assert charged
    early = shop.ask("POST", "/v1/quotes", json=one_element | {"repeats": first})
    assert [(one["pointer"], one["figure"]) for one in early.json()["errors"]] == [("/repeats", first)], "it was not accepted yet"
    unknown = shop.ask("POST", "/v1/quotes", json=one_element | {"repeats": "Q-2026-999999"})
    assert (early.status_code, unknown.status_code) == (422, 422)
    accepted(shop, first)
    again = shop.get(f"/v1/quotes/{shop.quoted(one_element | {'repeats': first, 'tools_there': ['of nobody']})}")
    assert again["tooling"] == []
    assert [one["figure"] for one in again["findings"] if one["code"] == "repeat-of-an-order"] == [len(charged)]
    other = json.loads(json.dumps(one_element | {"repeats": first}))
    for face in ("front", "back"):
        other["prescription"]["elements"][0][face]["radius_mm"] *= 1.3
    elsewhere = shop.get(f"/v1/quotes/{shop.quoted(other)}")
    assert "repeat-of-another-lens" in [one["code"] for one in elsewhere["findings"]]
    assert elsewhere["tooling"]
