"""Every number of a step of the shop's own is explained, down to its row, and its cost is what its equation gives."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from services.quoting.explain.basis import explain
from services.rates.domain.seed import seed_rates
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import OwnOperationRow, Rates
from tests.chain import as_json, job_of, request_of, singlet, through_stages
from tests.laws.equations import bound, figures_in, worked_out
from tests.laws.shown import Shown, is_number, leaves
from tests.laws.test_laws_equations import all_laws

PLATING = OwnOperationRow.model_validate(
    {
        "name": "plating", "source": "quotation 17", "as_of": "2026-10-30", "on": "element", "after": "bevel", "wanted_by": "always",
        "supplier": "plating house", "lot_charge": "85.00", "piece_charge": "4.00", "wait_days": 14.0, "yield_share": 0.95,
    },
    strict=False,
)  # fmt: skip


def quoted(request: QuoteRequest, rates: Rates) -> Shown:
    _, blanks, operations, quote = through_stages(request, rates)
    return Shown(as_json(quote), explain(job=job_of(request), blanks=blanks, operations=operations, rates=rates).breaks)


@pytest.fixture(scope="module")
def shown() -> Shown:
    rates = seed_rates().model_copy(update={"operations": (PLATING,)})
    return quoted(request_of(singlet(), (10,), currency="EUR"), rates)


def place_of_step(shown: Shown) -> str:
    operations = shown.document["elements"][0]["operations"]
    number = next(number for number, one in enumerate(operations) if one["operation"] == "own_work")
    return f"/elements/0/operations/{number}"


def test_every_number_of_the_step_is_answered_with_its_own_value(shown: Shown) -> None:
    place = place_of_step(shown)
    numbers = [
        (pointer, value) for pointer, value in leaves(shown.document) if pointer.startswith(place) and is_number(pointer, value)
    ]
    assert len(numbers) > 10
    for pointer, value in numbers:
        figure = shown.of(pointer)
        assert str(figure.value) == str(value), pointer
        assert figure.formula or figure.reason or figure.rate_row or figure.source, pointer


def test_its_charges_stand_in_the_currency_of_the_quote(shown: Shown) -> None:
    step = shown.document["elements"][0]["operations"][int(place_of_step(shown).rsplit("/", 1)[1])]
    assert (step["lot_charge"], step["consumables"]) == ("77.35", "3.64")


def test_its_cost_is_minutes_pieces_and_the_charge_for_the_lot(shown: Shown) -> None:
    (cost,) = (one for one in figures_in([part.figures for part in shown.breaks]) if one.name == "own_work plating" and one.formula)
    law = next(law for law in all_laws() if law.equation == cost.formula)
    assert math.isclose(worked_out(law, bound(law, cost)), float(cost.value), rel_tol=1e-9)
    told = {one.name: one.value for one in cost.inputs}
    assert told["lot_charge"] == Decimal("85.00")
    assert cost.value == Decimal("85.00") + 4 * Decimal(str(told["batches"]))
