"""Sums and limits of the price, worked out by hand."""

from __future__ import annotations

from decimal import Decimal

import pytest

from services.quoting.costs.learning import Learning
from services.quoting.pricing.sooner import Surcharges
from services.quoting.risk.losses import losses_of
from tests.unit.quoting.conftest import operation


def test_an_expedited_order_pays_for_its_priority_its_overtime_and_its_faster_glass() -> None:
    assert Surcharges(priority=Decimal(1), overtime=Decimal(20), faster_glass=Decimal(300)).total == Decimal(321)


def test_an_operation_that_loses_no_batches_has_none_to_lose() -> None:
    assert losses_of((operation(batch_loss=0.0),)).batches == ()
    assert [one.chance for one in losses_of((operation(batch_loss=0.02),)).batches] == [pytest.approx(0.02)]


def test_pieces_after_all_is_learned_take_the_last_time_each() -> None:
    learning = Learning(rate=0.8, after=4)
    assert learning.total(3) == pytest.approx(1 + 0.8 + 3**-0.3219280949)
    assert learning.total(7) - learning.total(4) == pytest.approx(3 * 0.8**2)
