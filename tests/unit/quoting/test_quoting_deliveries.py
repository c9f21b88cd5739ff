"""Parts of an order: the first pieces of one lot, and lots of their own."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import numpy as np
import pytest

from services.quoting.pricing.deliveries import first_pieces, pace_of, promised_deliveries
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.quote import plans_for
from shared_schemas.lead_times import Delivery
from shared_schemas.rates import Rates
from tests import chain


@pytest.fixture(scope="module")
def evaluation(rates: Rates) -> Evaluation:
    asked = chain.request_of(chain.singlet(), (25,))
    _, blanks, operations = chain.sections_of(asked, rates)
    return evaluate(plans_for(chain.job_of(asked), blanks, operations, rates), quantity=25)


def test_more_pieces_of_one_lot_are_never_ready_before_fewer_and_all_when_the_order_is(evaluation: Evaluation) -> None:
    done = [first_pieces(evaluation.schedule, pieces, 25) for pieces in (1, 2, 10, 24, 25)]
    for fewer, more in pairwise(done):
        assert (more >= fewer - 1e-9).all()
    assert np.array_equal(done[-1], evaluation.schedule.network.done)
    assert (done[0] < done[-1]).any()
    assert (done[0] >= evaluation.schedule.network.lens.passage.arrival).all()


def test_pieces_leave_at_the_pace_of_the_slowest_step_after_the_last_that_takes_all_at_once(evaluation: Evaluation) -> None:
    steps = evaluation.schedule.network.lens.steps
    pace = pace_of(steps)
    assert pace.batches > 1
    assert all(one.batches <= 1 or one.batch_h / one.batch_size <= pace.batch_h / pace.batch_size for one in steps)


def test_deliveries_come_in_their_order_and_the_last_of_one_lot_is_the_order(evaluation: Evaluation) -> None:
    asked = [Delivery(quantity=5, by=date(2030, 1, 1)), Delivery(quantity=8, by=date(2026, 11, 3)), Delivery(quantity=12)]
    first, second, third = promised_deliveries(evaluation, evaluation.plans, asked)
    assert first.of_one_lot.p90 <= second.of_one_lot.p90 <= third.of_one_lot.p90 == evaluation.schedule.ship_date
    assert first.as_own_lot.p90 <= second.as_own_lot.p90 <= third.as_own_lot.p90
    assert [one.in_time for one in (first, second, third)] == ["of_one_lot", "no", None]
    assert all(one.p50 <= one.p80 <= one.p90 for each in (first, second, third) for one in (each.of_one_lot, each.as_own_lot))


def test_a_small_lot_of_its_own_costs_more_and_is_as_an_order_of_that_quantity(evaluation: Evaluation) -> None:
    first, _ = promised_deliveries(evaluation, evaluation.plans, [Delivery(quantity=5), Delivery(quantity=20)])
    alone = evaluate(evaluation.plans, quantity=5)
    assert first.price_effect == alone.price.total - 5 * evaluation.price.unit > 0
    assert first.as_own_lot == alone.schedule.promised
