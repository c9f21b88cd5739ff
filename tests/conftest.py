"""Fixtures that every tier uses."""

from __future__ import annotations

import pytest

from services.rates.domain.seed import seed_rates
from shared_schemas.rates import Rates


@pytest.fixture(scope="session")
def rates() -> Rates:
    """The rates that the suite is delivered with."""
    return seed_rates()
