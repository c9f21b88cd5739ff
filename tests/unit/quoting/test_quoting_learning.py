"""Learning: the laws agree where they must, and a rate that is none is refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.quoting.costs.cost import operation_costs
from services.quoting.costs.learning import NOTHING_LEARNED, Learning, learning_exponent, learning_of
from services.quoting.explain.basis import basis_of
from services.quoting.explain.quantity import Quantity
from services.quoting.pricing.evaluation import Plans, evaluate
from shared_schemas.operations import Route
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import Rates
from tests.unit.quoting.conftest import centre, operation, with_tables
from tests.unit.quoting.test_quoting_basis import walk


def test_who_learns_nothing_takes_the_same_time_for_each() -> None:
    assert Learning(1.0, 12).total(12) == 12


@pytest.mark.parametrize("rate", [0.0, -0.1, 1.01])
def test_a_rate_that_is_no_share_is_an_error(rate: float) -> None:
    with pytest.raises(FigureOutOfRange, match="learning rate"):
        learning_exponent(rate)


def handwork(**changes: Any) -> Route:
    return Route(part="lens", kind="lens", operations=(operation(operation="assemble", batch_size=1, **changes),))


def test_what_is_learned_is_the_unit_curve_until_all_is_learned_and_then_a_line() -> None:
    learning = Learning(0.9, 100)
    assert learning.total(1) == 1
    assert learning.total(10) == pytest.approx(sum(n ** learning_exponent(0.9) for n in range(1, 11)))
    assert learning.total(100) == pytest.approx(sum(n ** learning_exponent(0.9) for n in range(1, 101)))
    assert learning.total(300) - learning.total(200) == pytest.approx(100 * 100 ** learning_exponent(0.9))
    assert learning.unit(1) == 1
    assert learning.unit(5000) == pytest.approx(learning.last)


@given(rate=st.floats(0.5, 1), after=st.integers(1, 300), number=st.integers(0, 900))
@settings(max_examples=60, deadline=None)
def test_many_at_once_are_what_each_is_alone(rate: float, after: int, number: int) -> None:
    learning = Learning(rate, after)
    numbers = np.arange(number, number + 3, dtype=float)
    assert learning.totals(numbers) == pytest.approx([learning.total(int(one)) for one in numbers])
    assert learning.total(number) <= number + 1e-9


def test_only_what_hands_do_piece_by_piece_is_learned() -> None:
    quick = centre(learning_share=0.9, learned_after=50)
    assert learning_of(operation(batch_size=1), quick) == Learning(0.9, 50)
    assert learning_of(operation(batch_size=16), quick) is NOTHING_LEARNED, "a lamp learns nothing"
    assert learning_of(operation(batch_size=1), centre()) is NOTHING_LEARNED


def test_repeated_handwork_costs_what_the_curve_says(small_rates: Rates) -> None:
    route = handwork(batch_min=30.0, setup_min=10.0, attended_share=1.0)
    shop = with_tables(small_rates, work_centres=(centre(learning_share=0.8, learned_after=100),))
    (ten,) = operation_costs(route, started=10, rates=shop)
    assert ten.machine_min == pytest.approx(10 + 30 * 6.3154, rel=1e-4)
    (none,) = operation_costs(route, started=10, rates=small_rates)
    assert none.machine_min == 310


def test_learning_makes_a_lot_cheaper_and_sooner_and_one_piece_as_dear_as_ever(
    plans_of: Callable[..., Plans], small_rates: Rates
) -> None:
    shop = with_tables(small_rates, work_centres=(centre(learning_share=0.85),))
    for quantity, less in ((1, False), (200, True)):
        slow, quick = (evaluate(plans_of(rates=rates, confidence=0.01), quantity=quantity) for rates in (small_rates, shop))
        started = {one.starts["lens"].started for one in (slow, quick)}
        assert (quick.costs.operations < slow.costs.operations) is (less or started != {1})
        assert (quick.schedule.hours(0.5) < slow.schedule.hours(0.5)) is (less or started != {1})


def test_a_lot_made_again_begins_to_learn_anew(plans_of: Callable[..., Plans], small_rates: Rates) -> None:
    shop = with_tables(small_rates, work_centres=(centre(learning_share=0.85),))
    worth, without = plans_of(rates=shop).made({}).worths["lens"], plans_of().made({}).worths["lens"]
    assert worth.again.cost[0] == pytest.approx(without.again.cost[0], rel=0.01)
    assert worth.lot(100) < without.lot(100)
    (step,) = worth.handwork
    assert step.each_after(1) == step.each
    assert step.each_after(100) == pytest.approx(step.each - step.hand * (1 - 100 ** learning_exponent(0.85)))


def test_the_figure_of_a_learned_operation_names_the_law(plans_of: Callable[..., Plans], small_rates: Rates) -> None:
    plans = plans_of(rates=with_tables(small_rates, work_centres=(centre(learning_share=0.85),)))
    one = Quantity(evaluate(plans, quantity=25), plans, 0, {route.part: f"/assembly/{at}" for at, route in enumerate(plans.routes)})
    laws = [figure for figure in walk(basis_of(one)) if figure.name == "times"]
    assert laws
    assert "Crawford" in str(laws[0].source)
    assert {one.rate_row.table for one in laws[0].inputs if one.rate_row} == {"work_centres"}
