"""The commercial side of a quote in the words of OASIS UBL 2.1: a Quotation, and once it is accepted an OrderResponse.

Neither says anything of costs, routes or minutes: they are made from prices alone.

Source:
    OASIS, Universal Business Language Version 2.1 (2013), https://docs.oasis-open.org/ubl/os-UBL-2.1/, schemas in xsd/maindoc.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Literal, get_args
from xml.etree.ElementTree import Element, SubElement, indent, tostring  # nosec B405  it parses nothing

from services.quoting.errors import OrderNotPlaced
from services.quoting.pricing.price import NAMES
from services.quoting.service.documents import decision_document, not_ready
from services.quoting.service.production_order import contact_of, customers_word, figures_of
from services.quoting.store.rows import StoredQuote
from shared_schemas.estimate import EstimatedTool, EstimateQuantity, UnitCodes
from shared_schemas.quote import QuoteBody, QuoteDecision, middle_quantity

UblDocument = Literal["quotation", "order-response"]
UBL_DOCUMENTS: tuple[UblDocument, ...] = get_args(UblDocument)
_NAMESPACE = "urn:oasis:names:specification:ubl:schema:xsd"
_ACCEPTED = "AP"
"""Accepted, in the list of response types of UN/EDIFACT, data element 4343."""
_NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True)
class _Priced:
    """What a line of a document is made from."""

    number: str
    title: str
    currency: str
    figures: EstimateQuantity
    needed_by: date | None

    def spare_part(self, place: int) -> _Priced:
        """One kind of spare parts beside the lenses, as something sold."""
        spare = self.figures.spare_parts[place]
        sold = {
            "quantity": spare.pieces,
            "unit_price": spare.unit_price,
            "total_price": spare.amount,
            "spare_parts": (),
            "lines": (),
        }
        return replace(
            self, number=f"{self.number}-{spare.part}", title=f"{self.title}: spare {spare.part}", figures=self.figures.model_copy(update=sold)
        )  # fmt: skip


def ubl_document(row: StoredQuote, document: UblDocument, *, seller: str = "", needed_by: date | None = None) -> bytes:
    """A ready quote as that document; `seller` is what the shop is called, `needed_by` the day by which the customer needs it.

    Notes:
        A quotation has one line, at the middle quantity of those asked for; the other quantities are alternatives of that line, each
        with the charges for its own tools. Spare parts are lines of their own. An order response is of the quantity that was ordered.

    Raises:
        QuoteNotReady, QuoteArchived: it has no figures.
        OrderNotPlaced: an order response of a quote that was not accepted.
    """
    if row.body is None:
        raise not_ready(row)
    body = QuoteBody.model_validate_json(row.body)
    made = _quotation if document == "quotation" else _order_response
    return made(row, body, seller, needed_by)


def _quotation(row: StoredQuote, body: QuoteBody, seller: str, needed_by: date | None) -> bytes:
    root = _root("Quotation")
    middle = middle_quantity(one.quantity for one in body.breaks)
    priced = {one.quantity: _priced(row, body, figures_of(one, body), needed_by) for one in body.breaks}
    main = priced[middle]
    _add(root, "cbc:UBLVersionID", "2.1")
    _add(root, "cbc:ID", _document_number(row))
    _add(root, "cbc:IssueDate", body.quoted_on)
    _add(root, "cbc:Note", body.prescription.title)
    _add(root, "cbc:PricingCurrencyCode", body.currency)
    _add(root, "cbc:LineCountNumeric", 1 + len(main.figures.spare_parts))
    period = SubElement(root, "cac:ValidityPeriod")
    _add(period, "cbc:StartDate", body.quoted_on)
    _add(period, "cbc:EndDate", body.valid_until)
    if body.order is not None and body.order.reference:
        _add(SubElement(root, "cac:RequestForQuotationDocumentReference"), "cbc:ID", body.order.reference)
    _parties(root, row, None, seller, body)
    _charges(root, main)
    _total(root, "cac:QuotedMonetaryTotal", main)
    others = [one for quantity, one in priced.items() if quantity != middle]
    _quotation_line(root, 1, main, others, with_charges=True)
    for place in range(len(main.figures.spare_parts)):
        _quotation_line(root, place + 2, main.spare_part(place), [one.spare_part(place) for one in others])
    return _written(root)


def _quotation_line(root: Element, number: int, main: _Priced, others: Sequence[_Priced], *, with_charges: bool = False) -> None:
    line = SubElement(root, "cac:QuotationLine")
    _add(line, "cbc:ID", number)
    period = "cac:EstimatedDeliveryPeriod"
    _line_item(line, "cac:LineItem", str(number), main, main.figures.ship_date, period)
    for place, other in enumerate(others, start=1):
        item = "cac:AlternativeLineItem"
        _line_item(line, item, f"{number}.{place}", other, other.figures.ship_date, period, with_charges=with_charges)


def _order_response(row: StoredQuote, body: QuoteBody, seller: str, needed_by: date | None) -> bytes:
    decision = decision_document(row, row.decision) if row.decision else None
    price_break = next((one for one in body.breaks if decision is not None and one.quantity == decision.quantity), None)
    if decision is None or decision.decision != "accepted" or price_break is None:
        raise OrderNotPlaced(row.quote_number, row.revision)
    priced = _priced(row, body, figures_of(price_break, body), needed_by)
    root = _root("OrderResponse")
    _add(root, "cbc:UBLVersionID", "2.1")
    _add(root, "cbc:ID", f"{_document_number(row)}-response")
    _add(root, "cbc:SalesOrderID", row.quote_number)
    _add(root, "cbc:IssueDate", decision.at.date())
    _add(root, "cbc:OrderResponseCode", _ACCEPTED, listID="UN/EDIFACT 4343")
    _add(root, "cbc:DocumentCurrencyCode", body.currency)
    _add(root, "cbc:LineCountNumeric", 1 + len(priced.figures.spare_parts))
    order = SubElement(root, "cac:OrderReference")
    _add(order, "cbc:ID", customers_word(decision, "purchase_order") or row.quote_number)
    if body.order is not None and body.order.reference:
        _add(order, "cbc:CustomerReference", body.order.reference)
    _parties(root, row, decision, seller, body)
    _charges(root, priced)
    _total(root, "cac:LegalMonetaryTotal", priced)
    promised = decision.promised.ship_date if decision.promised is not None else priced.figures.ship_date
    spares = [priced.spare_part(place) for place in range(len(priced.figures.spare_parts))]
    for number, sold in enumerate((priced, *spares), start=1):
        _line_item(SubElement(root, "cac:OrderLine"), "cac:LineItem", str(number), sold, promised, "cac:PromisedDeliveryPeriod")
    return _written(root)


def _root(name: str) -> Element:
    spaces = {"xmlns": name, "xmlns:cac": "CommonAggregateComponents", "xmlns:cbc": "CommonBasicComponents"}
    return Element(name, {prefix: f"{_NAMESPACE}:{of}-2" for prefix, of in spaces.items()})


def _written(root: Element) -> bytes:
    indent(root)
    return bytes(tostring(root, encoding="utf-8", xml_declaration=True))


def _add(parent: Element, tag: str, value: object, **attributes: str) -> None:
    SubElement(parent, tag, attributes).text = _NO_XML.sub("�", str(value))


def _priced(row: StoredQuote, body: QuoteBody, figures: EstimateQuantity, needed_by: date | None) -> _Priced:
    return _Priced(_document_number(row), body.prescription.title, body.currency, figures, needed_by)


def _document_number(row: StoredQuote) -> str:
    return f"{row.quote_number}-{row.revision}"


def _parties(root: Element, row: StoredQuote, decision: QuoteDecision | None, seller: str, body: QuoteBody) -> None:
    """Both sides, as far as their names are known."""
    supplier = SubElement(root, "cac:SellerSupplierParty")
    if seller:
        _add(SubElement(SubElement(supplier, "cac:Party"), "cac:PartyName"), "cbc:Name", seller)
    buyer = SubElement(root, "cac:BuyerCustomerParty")
    if number := customers_word(decision, "customer_number"):
        _add(buyer, "cbc:SupplierAssignedAccountID", number)
    if row.customer:
        _add(SubElement(SubElement(buyer, "cac:Party"), "cac:PartyName"), "cbc:Name", row.customer)
    if contact := contact_of(decision, body):
        _add(SubElement(buyer, "cac:BuyerContact"), "cbc:Name", contact)


def _line_item(
    parent: Element, tag: str, number: str, priced: _Priced, day: date, period: str, *, with_charges: bool = False
) -> None:
    figures = priced.figures
    item = SubElement(parent, tag)
    _add(item, "cbc:ID", number)
    _add(item, "cbc:Quantity", figures.quantity, unitCode=UnitCodes().pieces)
    _amount(item, "cbc:LineExtensionAmount", figures.unit_price * figures.quantity, priced.currency)
    delivery = SubElement(item, "cac:Delivery")
    if priced.needed_by is not None:  # before the shop's own day, as the schema has them in this order
        _add(SubElement(delivery, "cac:RequestedDeliveryPeriod"), "cbc:EndDate", priced.needed_by)
    _add(SubElement(delivery, period), "cbc:EndDate", day)
    if with_charges:
        _charges(item, priced)
    price = SubElement(item, "cac:Price")
    _amount(price, "cbc:PriceAmount", figures.unit_price, priced.currency)
    _add(price, "cbc:BaseQuantity", 1, unitCode=UnitCodes().pieces)
    sold = SubElement(item, "cac:Item")
    _add(sold, "cbc:Name", priced.title or priced.number)
    _add(SubElement(sold, "cac:SellersItemIdentification"), "cbc:ID", priced.number)


def _charges(parent: Element, priced: _Priced) -> None:
    """The charges for tools, where they are asked once beside the price."""
    tools: Sequence[EstimatedTool] = priced.figures.tooling if priced.figures.tooling_charges else ()
    for tool in tools:
        charge = SubElement(parent, "cac:AllowanceCharge")
        _add(charge, "cbc:ChargeIndicator", "true")
        _add(charge, "cbc:AllowanceChargeReason", tool.item)
        _amount(charge, "cbc:Amount", tool.charge, priced.currency)
    if split := _split_charge(priced.figures):
        charge = SubElement(parent, "cac:AllowanceCharge")
        _add(charge, "cbc:ChargeIndicator", "true")
        _add(charge, "cbc:AllowanceChargeReason", NAMES["deliveries"])
        _amount(charge, "cbc:Amount", split, priced.currency)


def _split_charge(figures: EstimateQuantity) -> Decimal:
    """The charge for deliveries beyond the first."""
    return sum((line.amount for line in figures.lines if line.kind == "deliveries"), Decimal(0))


def _total(root: Element, tag: str, priced: _Priced) -> None:
    figures, total = priced.figures, SubElement(root, tag)
    split = _split_charge(figures)
    _amount(total, "cbc:LineExtensionAmount", figures.total_price - split, priced.currency)
    if figures.tooling_charges or split:
        _amount(total, "cbc:ChargeTotalAmount", figures.tooling_charges + split, priced.currency)
    _amount(total, "cbc:PayableAmount", figures.total_payable, priced.currency)


def _amount(parent: Element, tag: str, amount: Decimal, currency: str) -> None:
    _add(parent, tag, amount, currencyID=currency)
