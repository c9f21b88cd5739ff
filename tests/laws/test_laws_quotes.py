"""Laws of a whole quote, over lenses and quantities through all four stages."""

from __future__ import annotations

import pytest

from services.rates.domain.seed import seed_rates
from tests.chain import quote_of, request_of, singlet


@pytest.mark.parametrize("diameter_mm", [8.0, 12.0])
def test_small_coated_elements_are_quoted_at_hundreds_and_thousands(diameter_mm: float) -> None:
    lens = singlet(diameter_mm=diameter_mm, centre_thickness_mm=2.5, front_mm=30.0, back_mm=-30.0, coating="ar-broadband")
    quote = quote_of(request_of(lens, (700, 1000, 2000, 3000)), seed_rates())
    for one in quote.breaks:
        assert one.unit_cost.p50 is not None
        assert one.unit_cost.p80 is not None
        assert one.unit_cost.p95 is not None
        assert one.unit_cost.p50 <= one.unit_cost.p80 <= one.unit_cost.p95
