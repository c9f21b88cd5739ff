"""Figures of quoting for whoever watches over the suite: outcomes, the oldest traveller, letters. Read from the tables, where they are true."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric

from services.chassis.resources import Resources
from services.quoting.store.standing import standing
from shared_schemas.quote import FINAL_STATUSES


def figures(resources: Resources) -> Iterator[Metric]:
    """How quoting stands at this moment."""
    found = standing(resources.database)
    quotes = CounterMetricFamily("blankwright_quotes", "Quotes by what became of them", labels=["outcome"])
    for outcome in sorted(FINAL_STATUSES):
        quotes.add_metric([outcome], found.events.get(outcome, 0))
    yield quotes
    yield CounterMetricFamily(
        "blankwright_started_again",
        "Starts by the sweeper of what did not arrive in time",
        value=found.events.get("started_again", 0),
    )
    yield CounterMetricFamily(
        "blankwright_late_outcomes_differ",
        "Outcomes that came a second time and were not the same; there must be none",
        value=found.events.get("late_outcome_differs", 0),
    )
    age_s = (datetime.now(UTC) - found.oldest_began_at).total_seconds() if found.oldest_began_at else 0.0
    yield GaugeMetricFamily(
        "blankwright_oldest_traveller_seconds", "Age of the oldest traveller that is under way", value=max(0.0, age_s)
    )
    yield GaugeMetricFamily("blankwright_travellers", "Travellers that are under way", value=found.under_way)
    yield GaugeMetricFamily("blankwright_waiting_in_batches", "Quotes of batches whose turn has not come", value=found.waiting)
    yield CounterMetricFamily("blankwright_dead_letters", "Letters that were ever left by a stage that broke", value=found.letters)
    yield GaugeMetricFamily("blankwright_dead_letters_open", "Letters that nobody has replayed", value=found.open_letters)
