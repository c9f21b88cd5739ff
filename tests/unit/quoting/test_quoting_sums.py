"""Sums and limits of the price, worked out by hand."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from scipy.stats import lognorm

from services.quoting.costs.learning import Learning
from services.quoting.pricing.sooner import Surcharges
from services.quoting.promise.lead_time import log_normal_points
from services.quoting.risk.losses import losses_of
from tests.unit.quoting.conftest import operation


def test_an_expedited_order_pays_for_its_priority_its_overtime_and_its_faster_glass() -> None:
    assert Surcharges(priority=Decimal(1), overtime=Decimal(20), faster_glass=Decimal(300)).total == Decimal(321)


def test_an_operation_that_loses_no_batches_has_none_to_lose() -> None:
    assert losses_of((operation(batch_loss=0.0),)).batches == ()
    assert [one.chance for one in losses_of((operation(batch_loss=0.02),)).batches] == [pytest.approx(0.02)]


@pytest.mark.parametrize(("mean", "variance"), [(10.0, 100.0), (40.0, 25.0), (3.0, 90.0)])
def test_the_points_of_a_log_normal_are_those_of_scipy(mean: float, variance: float) -> None:
    spread = math.sqrt(math.log(1 + variance / mean**2))
    law = lognorm(spread, scale=mean * math.exp(-spread * spread / 2))
    assert (law.mean(), law.var()) == (pytest.approx(mean), pytest.approx(variance))
    assert log_normal_points(mean=mean, variance=variance) == pytest.approx((law.ppf(0.5), law.ppf(0.9)))


def test_without_variance_both_points_are_the_mean() -> None:
    assert log_normal_points(mean=10.0, variance=0.0) == (10.0, 10.0)


def test_pieces_after_all_is_learned_take_the_last_time_each() -> None:
    learning = Learning(rate=0.8, after=4)
    assert learning.total(3) == pytest.approx(1 + 0.8 + 3**-0.3219280949)
    assert learning.total(7) - learning.total(4) == pytest.approx(3 * 0.8**2)
