"""A step that only the shop knows is added by a row: it reaches route, starts, price, date, estimate and explanation."""

from __future__ import annotations

import json
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from pydantic import ValidationError

from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.quote import plans_for
from services.quoting.service.production_order import operations_of
from services.quoting.service.request_checks import faults_of_request
from services.rates.domain.revision import contradictions, contradictions_of
from shared_schemas.operations import Operation, OperationPlan
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import OwnOperationRow, Rates
from tests.chain import QUOTED_ON, alike_doublets, job_of, quote_of, request_of, sections_of, singlet

LEAK_TEST: dict[str, Any] = {
    "name": "leak test", "source": "agreed with the test bench", "as_of": "2026-11-02", "on": "assembly", "after": "final_test",
    "wanted_by": "asked", "work_centre": "test-bench", "setup_min": 30.0, "minutes_each": 12.0, "attended_share": 0.5,
    "piece_charge": "1.50", "wait_days": 2.0, "yield_share": 0.9,
}  # fmt: skip
PLATING: dict[str, Any] = {
    "name": "plating", "source": "quotation 17 of 2026-10-30", "as_of": "2026-10-30", "on": "element", "after": "bevel",
    "wanted_by": "always", "supplier": "plating house", "lot_charge": "85.00", "piece_charge": "4.00", "wait_days": 14.0,
}  # fmt: skip


def own(**changes: Any) -> OwnOperationRow:
    row = {**LEAK_TEST, **changes}
    return OwnOperationRow.model_validate_json(json.dumps(row))


def plating(**changes: Any) -> OwnOperationRow:
    return OwnOperationRow.model_validate_json(json.dumps({**PLATING, **changes}))


def with_steps(rates: Rates, *rows: OwnOperationRow) -> Rates:
    return rates.model_copy(update={"operations": rows})


def mounted(**fields: Any) -> QuoteRequest:
    barrel = {"material": "aluminium", "length_mm": 20.0, "outer_diameter_mm": 32.0}
    return request_of({**singlet(), "barrel": barrel}, (10,), **fields)


def route_of(plan: OperationPlan | QuoteBody, part: str) -> list[Operation]:
    if isinstance(plan, OperationPlan):
        return [one for route in plan.routes if route.part == part for one in route.operations]
    return [one for route in plan.assembly if route.part == part for one in route.operations]


def names(operations: list[Operation]) -> list[str]:
    return [one.method if one.operation == "own_work" else one.operation for one in operations]


@pytest.fixture(scope="module")
def quotes(rates: Rates) -> dict[str, QuoteBody]:
    shop = with_steps(rates, own())
    return {"without": quote_of(mounted(), shop), "with": quote_of(mounted(own_operations=["leak test"]), shop)}


def test_a_step_that_is_asked_for_stands_in_the_route_where_its_row_says(quotes: dict[str, QuoteBody]) -> None:
    assert names(route_of(quotes["with"], "lens"))[-3:] == ["final_test", "leak test", "pack"]
    assert "leak test" not in names(route_of(quotes["without"], "lens"))


def test_it_reaches_starts_price_and_date(quotes: dict[str, QuoteBody]) -> None:
    without, asked = quotes["without"].breaks[0], quotes["with"].breaks[0]
    assert asked.start_quantities["L1"] > without.start_quantities["L1"]
    assert asked.unit_price > without.unit_price
    assert asked.lead_time.p50_days is not None
    assert without.lead_time.p50_days is not None
    assert asked.lead_time.p50_days >= without.lead_time.p50_days + 2


def test_it_reaches_the_estimate_with_its_minutes_charge_and_days(rates: Rates) -> None:
    request, shop = mounted(own_operations=["leak test"]), with_steps(rates, own())
    _, blanks, operations = sections_of(request, shop)
    order = operations_of(evaluate(plans_for(job_of(request), blanks, operations, shop), quantity=10, evened=False))
    (step,) = (one for one in order if one.operation == "own_work")
    (before, after) = (order[order.index(step) + beside] for beside in (-1, 1))
    assert (step.id, step.work_centre, step.setup_min) == ("lens-own-work-leak-test", "test-bench", 30.0)
    assert step.run_min == 12.0 * step.pieces_in
    assert step.labour_min == step.setup_min + 0.5 * step.run_min
    assert step.consumables == Decimal("1.50") * step.pieces_in
    assert step.yield_share == 0.9
    assert step.pieces_out < step.pieces_in
    assert before.finishes is not None
    assert after.starts is not None
    assert (after.starts - before.finishes).days >= 2


def test_a_quote_that_does_not_ask_for_it_is_that_of_a_shop_without_it(rates: Rates, quotes: dict[str, QuoteBody]) -> None:
    assert quote_of(mounted(), rates).model_dump_json() == quotes["without"].model_dump_json()


def test_its_figures_are_told_from_its_row(quotes: dict[str, QuoteBody]) -> None:
    (step,) = (one for one in route_of(quotes["with"], "lens") if one.operation == "own_work")
    told = {figure.name: figure for figure in step.basis}
    assert {"setup_min", "batch_min", "yield", "consumables", "wait_days"} <= set(told)
    assert all(told[name].rate_row is not None and told[name].rate_row.table == "operations" for name in ("setup_min", "wait_days"))
    assert told["step of the shop's own"].reason == "the quote asks for it; it comes after final test"


def test_a_supplier_has_its_charges_and_its_days_and_nobody_waits_there(rates: Rates) -> None:
    request = request_of(singlet(), (10,))
    plain, plated = quote_of(request, rates), quote_of(request, with_steps(rates, plating()))
    (element,) = plated.elements
    step = next(one for one in element.operations if one.operation == "own_work")
    assert (step.work_centre, step.lot_charge, step.wait_days) == ("outside: plating house", Decimal("85.00"), 14.0)
    before, after = (quote.breaks[0].unit_cost.planned * 10 for quote in (plain, plated))
    starts = plated.breaks[0].start_quantities["L1"]
    assert Decimal(85) + 4 * 10 <= after - before <= (Decimal(85) + 4 * starts) * 2
    days = [quote.breaks[0].lead_time.p50_days for quote in (plain, plated)]
    assert days[0] is not None
    assert days[1] is not None
    assert 12 <= days[1] - days[0] <= 20


@pytest.mark.parametrize(
    ("on", "after", "before"),
    [
        ("blank", "core", "generate"),
        ("face", "polish", "generate"),
        ("element", "centre", "clean"),
        ("element", "inspect", None),
        ("doublet", "cement", "inspect"),
        ("doublet", "inspect", None),
    ],
)
def test_a_step_comes_after_what_its_row_says_and_before_what_follows(
    rates: Rates, on: str, after: str, before: str | None
) -> None:
    shop = with_steps(rates, own(name="step", on=on, after=after, wanted_by="always"))
    plan = sections_of(alike_doublets(1, (5,)), shop)[2]
    route = names(route_of(plan, "L1" if on != "doublet" else "L1+L2"))
    assert route.count("step") == (2 if on == "face" else 1)
    place = route.index("step")
    assert after in route[:place] or after == "core"
    assert before is None or before in route[place:]


def test_of_two_steps_at_one_place_the_sequence_says_which_is_first_and_two_alike_are_refused(rates: Rates) -> None:
    one, other = own(name="b", wanted_by="always"), own(name="a", wanted_by="always", sequence=2)
    plan = sections_of(mounted(), with_steps(rates, other, one))[2]
    assert names(route_of(plan, "lens"))[-4:] == ["final_test", "b", "a", "pack"]
    alike = with_steps(rates, one, own(name="a"))
    assert [fault.pointer for fault in contradictions(alike, "operations")] == ["/rows/1/sequence"]


@pytest.mark.parametrize(
    ("row", "lens", "done"),
    [
        ({"wanted_by": "coated"}, {"coating": "ar-single"}, True),
        ({"wanted_by": "coated"}, {}, False),
        ({"wanted_by": "form", "finer_than": 0.5}, {"form": "3/3(0.5)"}, True),
        ({"wanted_by": "form", "finer_than": 0.5}, {"form": "3/3(1)"}, False),
        ({"wanted_by": "centring", "finer_than": 1.0}, {}, False),
        ({"wanted_by": "centring", "finer_than": 2.0}, {}, True),
        ({"wanted_by": "cemented"}, {}, False),
    ],
)
def test_a_step_is_done_where_the_drawing_demands_it(rates: Rates, row: dict[str, Any], lens: dict[str, Any], done: bool) -> None:
    shop = with_steps(rates, own(name="step", on="element", after="inspect", **row))
    plan = sections_of(request_of(singlet(**lens), (5,)), shop)[2]
    assert ("step" in names(route_of(plan, "L1"))) is done


def test_a_step_that_is_asked_for_and_has_no_place_is_found(rates: Rates) -> None:
    shop = with_steps(rates, own(on="doublet", after="cement"))
    plan = sections_of(mounted(own_operations=["leak test"]), shop)[2]
    (found,) = (one for one in plan.findings if one.code == "own-operation-without-a-place")
    assert "leak test" in found.message


def test_a_name_that_the_table_does_not_have_is_refused_with_the_nearest(rates: Rates) -> None:
    faults = faults_of_request(mounted(own_operations=["leek test"]), rates=with_steps(rates, own()), today=QUOTED_ON)
    assert [fault.pointer for fault in faults] == ["/own_operations/0"]
    assert "leak test" in str(faults[0].remedy)
    assert faults_of_request(mounted(own_operations=["leak test"]), rates=with_steps(rates, own()), today=date(2026, 11, 2)) == []


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"supplier": "plating house"}, "work_centre"),
        ({"work_centre": ""}, "work_centre"),
        ({"after": "polish"}, "after"),
        ({"finer_than": 1.0}, "finer_than"),
        ({"wanted_by": "form"}, "finer_than"),
        ({"on": "cupboard"}, "on"),
        ({"yield_share": 0.0}, "yield_share"),
    ],
)
def test_a_step_that_cannot_be_is_refused_at_its_cell(wrong: dict[str, Any], field: str) -> None:
    with pytest.raises(ValidationError) as caught:
        own(**wrong)
    assert field in str(caught.value)


def test_a_work_centre_is_named_by_its_id_or_by_its_name_and_by_nothing_else(rates: Rates) -> None:
    for name, faults in (("test-bench", 0), ("test bench", 0), ("tset bench", 1)):
        assert len(contradictions(with_steps(rates, own(work_centre=name)), "operations")) == faults
    gone = tuple(row for row in rates.work_centres if row.name != "test bench")
    shop = with_steps(rates, own()).model_copy(update={"work_centres": gone})
    assert any("test-bench" in fault.reason for fault in contradictions_of(shop, ["work_centres"])["work_centres"])


def test_a_charge_for_the_lot_is_paid_once_however_many_pieces_there_are(rates: Rates) -> None:
    request = request_of(singlet(), (1, 100, 100_000))
    step = {"on": "element", "after": "bevel", "wanted_by": "always", "piece_charge": "0", "wait_days": 0.0, "yield_share": 1.0}
    plain, charged = (quote_of(request, with_steps(rates, own(**step, lot_charge=charge))).breaks for charge in ("0", "85.00"))
    dearer = [after.total_price - before.total_price for before, after in zip(plain, charged, strict=True)]
    # Overhead, contingency and margin come on top, and every price is rounded up to its step.
    assert 85 < dearer[0] < 85 * 2
    assert all(0 <= more <= 85 * 2 + Decimal("0.50") * one.quantity for more, one in zip(dearer, plain, strict=True))
