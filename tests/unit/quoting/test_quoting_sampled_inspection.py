"""What only a sample of a lot is looked at for costs the sample, not the lot."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.quoting.costs.cost import operation_costs
from services.quoting.pricing.relaxations import rough_cost
from services.shop.minutes import per_minute
from shared_schemas.operations import Operation, Route, Sampled, SampleStep
from shared_schemas.rates import Rates

STEPS = (
    SampleStep(up_to=150, pieces=13, accept=0),
    SampleStep(up_to=500, pieces=50, accept=1),
    SampleStep(up_to=None, pieces=80, accept=2),
)


def inspecting(*, share: float, work_centre: str = "inspection") -> Route:
    sampled = (Sampled(looks_at="cosmetic", share=share, steps=STEPS),) if share else ()
    operation = Operation(
        operation="inspect", work_centre=work_centre, setup_min=6.0, batch_size=1, batch_min=10.0, consumables=Decimal(0),
        **{"yield": 1.0}, sampled=sampled,
    )  # fmt: skip
    return Route(part="L1", kind="element", operations=(operation,))


def run_min(route: Route, started: int, rates: Rates) -> float:
    return operation_costs(route, started=started, rates=rates)[0].machine_min - 6.0


@pytest.mark.parametrize(("lot", "looked_at"), [(5, 5), (13, 13), (14, 13), (150, 13), (151, 50), (500, 50), (501, 80), (5000, 80)])
def test_the_share_is_paid_for_the_sample_only(lot: int, looked_at: int, rates: Rates) -> None:
    whole, sampled = run_min(inspecting(share=0.0), lot, rates), run_min(inspecting(share=0.4), lot, rates)
    assert sampled == pytest.approx(whole * (1 - 0.4 * (lot - looked_at) / lot))


@given(lot=st.integers(1, 3000), share=st.floats(0.01, 1.0))
def test_a_sample_never_costs_more_than_the_lot_and_a_larger_lot_never_less(rates: Rates, lot: int, share: float) -> None:
    found = run_min(inspecting(share=share), lot, rates)
    assert 0 < found <= run_min(inspecting(share=0.0), lot, rates) * (1 + 1e-12)
    assert found <= run_min(inspecting(share=share), lot + 1, rates) + 1e-9


def test_where_hands_learn_the_sample_learns_over_the_sample(rates: Rates) -> None:
    slow = tuple(row.model_copy(update={"learning_share": 0.8}) if row.name == "inspection" else row for row in rates.work_centres)
    learning = rates.model_copy(update={"work_centres": slow})
    assert run_min(inspecting(share=1.0), 150, learning) == pytest.approx(run_min(inspecting(share=0.0), 13, learning))
    found = [run_min(inspecting(share=1.0), lot, learning) for lot in (13, 14, 150, 151, 600)]
    assert found == sorted(found)


@pytest.mark.parametrize("learning_share", [1.0, 0.8])
@pytest.mark.parametrize("share", [0.0, 0.4])
def test_the_rough_cost_of_sampled_and_of_learning_hands_is_the_exact_one(
    share: float, learning_share: float, rates: Rates
) -> None:
    centres = tuple(row.model_copy(update={"learning_share": learning_share}) for row in rates.work_centres)
    shop = rates.model_copy(update={"work_centres": centres})
    route = inspecting(share=share)
    minutes = {row.name: per_minute(row) for row in centres}
    exact = operation_costs(route, started=150, rates=shop)[0]
    rough = rough_cost(route, started=150, per_minute=minutes)
    assert rough.amount == pytest.approx(float(exact.amount), rel=1e-6)
    assert rough.hours == {"inspection": pytest.approx(exact.machine_min / 60)}
