"""What a customer could relax: single and together, exactly what a whole new evaluation would say."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from services.quoting.domain.evaluation import evaluate
from services.quoting.domain.quote import _plans
from services.quoting.domain.relaxations import combined_saving, full_block, loosened, quoted_relaxations
from shared_schemas.operations import LooserOperation, Relaxation, Route
from shared_schemas.rates import Rates
from tests.unit.quoting.conftest import operation, sections


def relaxation(part: str, tolerance: str, position: int, **figures: Any) -> Relaxation:
    looser = LooserOperation(position=position, **figures)
    return Relaxation(
        where=f"/{part}/{tolerance}", part=part, tolerance=tolerance, from_figure=1.0, to_figure=2.0, unit="fringes", operations=(looser,)
    )  # fmt: skip


OFFERED = (
    relaxation("L1", "irregularity", 0, batch_size=8, batch_min=20.0, **{"yield": 0.97}),
    relaxation("L1", "power", 0, batch_size=4, batch_min=25.0, **{"yield": 0.95}),
    relaxation("L1", "imperfection_grade", 1, batch_size=40, batch_min=30.0, **{"yield": 0.99}),
    relaxation("L2", "irregularity", 0, batch_size=4, batch_min=30.0, **{"yield": 0.9}),
    relaxation("lens", "alignment", 0, batch_size=1, batch_min=12.0, **{"yield": 0.995}),
)


@pytest.fixture
def plans(shop_rates: Rates) -> Any:
    given = sections()
    return _plans(given["job"], given["blanks"], given["operations"], shop_rates)


@pytest.mark.parametrize("offered", OFFERED, ids=lambda one: one.where)
@pytest.mark.parametrize("quantity", [3, 25, 140])
def test_a_saving_is_that_of_the_whole_quote_worked_out_again(plans: Any, offered: Relaxation, quantity: int) -> None:
    against = evaluate(plans, quantity=quantity)
    routes = tuple(loosened(route, offered.operations) if route.part == offered.part else route for route in plans.routes)
    whole = evaluate(replace(plans, routes=routes), quantity=quantity)
    found = quoted_relaxations(plans, (offered,), against=against)
    saving = against.price.unit - whole.price.unit
    assert [one.saving_per_unit for one in found] == ([saving] if saving > 0 else [])
    assert all(one.days_saved == against.lead_time.p50_days - whole.lead_time.p50_days for one in found)


def test_the_best_five_together_save_more_than_the_best_and_not_their_sum(plans: Any) -> None:
    against = evaluate(plans, quantity=25)
    quoted = quoted_relaxations(plans, OFFERED, against=against)
    together = combined_saving(plans, OFFERED, quoted, against=against)
    assert together is not None
    assert len(together.where) == len(quoted) > 2
    assert quoted[0].saving_per_unit < together.saving_per_unit < sum(one.saving_per_unit for one in quoted)


def test_one_relaxation_alone_is_not_combined(plans: Any) -> None:
    against = evaluate(plans, quantity=25)
    quoted = quoted_relaxations(plans, OFFERED[:1], against=against)
    assert combined_saving(plans, OFFERED[:1], quoted, against=against) is None


def test_two_relaxations_of_one_operation_each_count_by_their_factor_and_power() -> None:
    route = Route(part="L1", kind="element", operations=(operation(batch_min=30.0, **{"yield": 0.81}),))
    first = LooserOperation(position=0, batch_size=6, batch_min=20.0, **{"yield": 0.9})
    second = LooserOperation(position=0, batch_size=4, batch_min=15.0, **{"yield": 0.9})
    (found,) = loosened(route, (first, second)).operations
    assert found.batch_size == 6
    assert found.batch_min == pytest.approx(10.0)
    assert found.yield_share == pytest.approx(0.81 ** (0.5 * 0.5))
    assert loosened(route, ()) is route


def test_a_quantity_that_fills_a_block_is_offered_when_a_piece_is_cheaper_then(plans: Any) -> None:
    against = evaluate(plans, quantity=25)
    found = full_block(plans, against=against)
    assert found is not None
    assert found.from_figure == 25 < found.to_figure <= 37
    fuller = evaluate(plans, quantity=int(found.to_figure))
    assert found.saving_per_unit == against.price.unit - fuller.price.unit > 0
