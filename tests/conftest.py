"""Fixtures that every tier uses."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

from services.rates.domain.seed import seed_rates
from shared_schemas.rates import Rates

# Where CI runs, the same examples each time: a change is judged by what it changed. A person's machine goes on searching.
settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")


@pytest.fixture(scope="session")
def rates() -> Rates:
    """The rates that the suite is delivered with."""
    return seed_rates()
