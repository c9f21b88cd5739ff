"""What glass costs that is left on a blank: the minutes it takes to grind it away, with the people who attend them."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from services.glass.domain.buying.sharing import cheapest_grinding
from shared_schemas.rates import Rates

DIAMETER_MM = 20.0


def cost_per_mm3(*, grindability_hg: int | None, rates: Rates) -> float | None:
    grinding = cheapest_grinding(grindability_hg=grindability_hg, rates=rates)
    return None if grinding is None else grinding.cost_per_mm3(diameter_mm=DIAMETER_MM)


def shop(rates: Rates, *, machine: str, labour: str, share: float) -> Rates:
    """The shop with one generator of these rates per hour."""
    row = next(one for one in rates.work_centres if "generate" in one.operations)
    changed = row.model_copy(
        update={"machine_rate_per_h": Decimal(machine), "labour_rate_per_h": Decimal(labour), "attended_share": share}
    )
    return Rates.model_construct(**{name: getattr(rates, name) for name in Rates.model_fields} | {"work_centres": (changed,)})


@pytest.mark.parametrize(
    ("machine", "labour", "share", "per_h"), [("60", "30", 0.5, 75), ("60", "0", 0.5, 60), ("0", "90", 0.2, 18)]
)
def test_ground_glass_costs_the_machine_and_who_attends_it(
    machine: str, labour: str, share: float, per_h: float, rates: Rates
) -> None:
    infeed = next(row.infeed_mm_per_min for row in rates.grinding if row.stage == "generate" and row.grindability_hg == 2)
    assert infeed is not None
    removal = infeed * math.pi / 4 * DIAMETER_MM**2
    cost = cost_per_mm3(grindability_hg=2, rates=shop(rates, machine=machine, labour=labour, share=share))
    assert cost == pytest.approx(per_h / 60 / removal)


def test_a_glass_without_a_class_is_ground_as_class_three(rates: Rates) -> None:
    assert cost_per_mm3(grindability_hg=None, rates=rates) == cost_per_mm3(grindability_hg=3, rates=rates)
    assert cost_per_mm3(grindability_hg=None, rates=rates) != cost_per_mm3(grindability_hg=6, rates=rates)


def test_a_large_face_is_ground_no_faster_than_the_spindle_allows(rates: Rates) -> None:
    grinding = cheapest_grinding(grindability_hg=3, rates=rates)
    assert grinding is not None
    assert grinding.removal_mm3_per_min(200.0) == grinding.removal_mm3_per_min(400.0) == grinding.row.removal_limit_mm3_per_min
    assert grinding.cost_per_mm3(diameter_mm=10.0) == pytest.approx(4 * grinding.cost_per_mm3(diameter_mm=20.0))


def test_where_no_row_says_what_generating_takes_there_is_no_cost(rates: Rates) -> None:
    assert cost_per_mm3(grindability_hg=9, rates=rates) is None
