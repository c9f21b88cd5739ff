"""Tables that a lens is said not to be priced by: whatever a draft does to them, worked out in full its price is today's."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal

import pytest

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.pricing.prices_only import prices_as_issued, prices_of
from services.quoting.pricing.tables_read import READ_BY, is_priced_by
from shared_schemas.base import canonical_json
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rate_impact import RatedQuote
from shared_schemas.rates import RateRow, Rates
from shared_schemas.traveller import Refusal
from tests.chain import alike_doublets, job_of, quote_of, request_of, singlet

QUANTITIES = (5,)
BARREL = {"material": "aluminium", "length_mm": 20.0, "outer_diameter_mm": 32.0}
LENSES: Mapping[str, QuoteRequest] = {
    "plain": request_of(singlet(), QUANTITIES),
    "coated": request_of(singlet(coating="ar-single"), QUANTITIES),
    "aspheric": request_of(singlet(conic=-0.5), QUANTITIES),
    "cemented": alike_doublets(1, QUANTITIES),
    "mounted": request_of({**singlet(), "barrel": BARREL}, QUANTITIES),
}


def dearer(row: RateRow, by: str) -> RateRow:
    amounts = {name: value * Decimal(by) for name, value in row if isinstance(value, Decimal)}
    return row.model_copy(update=amounts)


DRAFTS: Mapping[str, Callable[[Sequence[RateRow]], Sequence[RateRow]]] = {
    "a cheap double of every row, before it": lambda rows: [
        one for row in rows for one in (dearer(row, "0.1").model_copy(update={"name": f"a cheap {row.name}"[:60]}), row)
    ],
    "every amount three times as large": lambda rows: [dearer(row, "3") for row in rows],
    "no row left": lambda rows: (),
}


def worked_out(request: QuoteRequest, rates: Rates) -> RatedQuote:
    """The prices of a lens, every stage done anew."""
    job = job_of(request).model_copy(update={"prices_only": True})
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal)
    operations = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert not isinstance(operations, Refusal)
    return prices_of(job=job, blanks=blanks, operations=operations, rates=rates, kept={})


@pytest.mark.parametrize("name", ["coated", "cemented"])
def test_prices_only_through_every_stage_are_those_of_the_whole_quote(name: str, rates: Rates) -> None:
    request = LENSES[name]
    assert worked_out(request, rates) == prices_as_issued(canonical_json(quote_of(request, rates)))


@pytest.mark.parametrize("name", [*LENSES])
def test_whatever_is_done_to_tables_that_a_lens_is_not_priced_by_its_price_stays(name: str, rates: Rates) -> None:
    request = LENSES[name]
    today = worked_out(request, rates)
    unread = [table for table in READ_BY if not is_priced_by((table,), request.prescription)]
    assert unread
    for change in list(DRAFTS.values())[: 1 if name == "aspheric" else None]:  # whose shape takes a second to work out
        draft = rates.model_copy(update={table: tuple(change(getattr(rates, table))) for table in unread})
        assert worked_out(request, draft) == today


@pytest.mark.parametrize(
    ("name", "table"), [("coated", "coatings"), ("aspheric", "aspheres"), ("cemented", "cementing"), ("mounted", "metals")]
)
def test_a_table_that_a_lens_is_priced_by_moves_its_price(name: str, table: str, rates: Rates) -> None:
    request = LENSES[name]
    assert is_priced_by((table,), request.prescription)
    rows = tuple(dearer(row, "3") for row in getattr(rates, table))
    assert worked_out(request, rates.model_copy(update={table: rows})) != worked_out(request, rates)
