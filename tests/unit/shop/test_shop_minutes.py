"""What minutes cost is one law, whether in decimals or in floating point."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.rates.domain.seed import seed_rates
from services.shop.minutes import attended_min, exact_minutes_cost, minutes_cost, per_minute
from shared_schemas.rates import WorkCentreRow

CENTRES = seed_rates().work_centres
MINUTES = st.floats(0, 100_000)


def test_an_hour_of_a_machine_that_is_attended_for_a_quarter_of_it() -> None:
    assert attended_min(setup_min=12.0, run_min=60.0, attended_share=0.25) == 27.0
    cost = minutes_cost(
        machine_min=Decimal(72), attended_min=Decimal(27), machine_rate_per_h=Decimal("40"), labour_rate_per_h=Decimal("60")
    )
    assert cost == Decimal("75")


@given(st.sampled_from(CENTRES), MINUTES, MINUTES)
def test_decimals_and_floating_point_say_the_same(centre: WorkCentreRow, machine_min: float, attended: float) -> None:
    exact = exact_minutes_cost(
        machine_min=machine_min,
        attended_min=attended,
        machine_rate_per_h=centre.machine_rate_per_h,
        labour_rate_per_h=centre.labour_rate_per_h,
    )
    near = per_minute(centre).cost(machine_min=machine_min, attended_min=attended)
    assert float(exact) == pytest.approx(near, rel=1e-9, abs=1e-5)


@given(st.sampled_from(CENTRES), st.floats(0, 1), MINUTES)
def test_a_minute_that_is_attended_for_a_share_is_that_share_of_attended_minutes(
    centre: WorkCentreRow, share: float, run_min: float
) -> None:
    minute = per_minute(centre)
    attended = attended_min(setup_min=0.0, run_min=run_min, attended_share=share)
    assert run_min * minute.attended(share) == pytest.approx(minute.cost(machine_min=run_min, attended_min=attended), rel=1e-12)


def test_a_minute_is_a_sixtieth_of_the_rates_of_its_row() -> None:
    for centre in CENTRES:
        assert per_minute(centre).attended(1.0) * 60 == pytest.approx(
            float(centre.machine_rate_per_h + centre.labour_rate_per_h), rel=1e-12
        )
