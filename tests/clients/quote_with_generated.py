"""What a caller writes on top of the client that openapi-python-client made: a quote, its estimate, a rate table.

python quote_with_generated.py URL KEYS.json REQUEST.json
"""

import json
import sys
import time
from pathlib import Path

from blankwright_client import AuthenticatedClient
from blankwright_client.api.quoting import decide_on_quote, get_estimate, get_quote, request_quote
from blankwright_client.api.rates import get_rate_table, put_rate_table
from blankwright_client.models import (
    DecisionRequest,
    DecisionRequestDecision,
    Estimate,
    Problem,
    Quote,
    QuoteAccepted,
    QuoteDecision,
    QuoteRequest,
    QuoteStatus,
    TablePage,
    TableUpdate,
    TableUpdateRowsItem,
)


def main(url: str, keys: dict[str, str], request: dict[str, object]) -> None:
    """Every step that a desk, an ERP and an engineer take."""
    sales, erp, engineer = (AuthenticatedClient(url, keys[role], timeout=60) for role in ("sales", "erp", "engineer"))
    accepted = request_quote.sync(client=sales, body=QuoteRequest.from_dict(request), idempotency_key="client-check-python")
    assert isinstance(accepted, QuoteAccepted), accepted
    quote = until_settled(sales, accepted.number)
    assert quote.status == QuoteStatus.READY, quote.status
    assert quote.breaks, "a quote that is ready has its prices"
    for each in quote.breaks:
        print(f"python: {quote.number}: {each.quantity} at {each.unit_price} {quote.currency}")
    acceptance = DecisionRequest(decision=DecisionRequestDecision.ACCEPTED, quantity=quote.breaks[0].quantity, by="client check")
    decision = decide_on_quote.sync(quote.number, client=sales, body=acceptance)
    assert isinstance(decision, QuoteDecision), decision
    estimate = get_estimate.sync("E" + quote.number.removeprefix("Q"), client=erp)
    assert isinstance(estimate, Estimate), estimate
    print(f"python: {estimate.number}: {len(estimate.quantities)} quantities, {len(estimate.quantities[0].operations)} operations")
    answer = get_rate_table.sync_detailed("work_centres", client=engineer)
    table = answer.parsed
    assert isinstance(table, TablePage), table
    rows = [TableUpdateRowsItem.from_dict(row.to_dict()) for row in table.rows]
    rows[0]["labour_rate_per_h"] = "61.50"
    update = TableUpdate(rows=rows, reason="wages of the year")
    put = put_rate_table.sync("work_centres", client=engineer, body=update, if_match=answer.headers["ETag"])
    assert isinstance(put, TablePage), put
    assert put.revision > table.revision
    print(f"python: {put.table} is at revision {put.revision}")
    refused = put_rate_table.sync("work_centres", client=engineer, body=update)
    assert isinstance(refused, Problem), refused
    assert refused.status == 428, refused


def until_settled(sales: AuthenticatedClient, number: str) -> Quote:
    """The quote when it has its outcome."""
    for _ in range(600):
        quote = get_quote.sync(number, client=sales)
        assert isinstance(quote, Quote), quote
        if quote.status in (QuoteStatus.READY, QuoteStatus.REFUSED, QuoteStatus.FAILED):
            return quote
        time.sleep(0.1)
    raise SystemExit(f"{number} is not settled after a minute")


if __name__ == "__main__":
    main(sys.argv[1], json.loads(Path(sys.argv[2]).read_text()), json.loads(Path(sys.argv[3]).read_text()))
