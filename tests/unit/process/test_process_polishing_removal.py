"""What polishing has to take off: the damage of the last grit, whatever came before it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from services.process.domain.element_work import ElementWork
from services.process.domain.faces.surfacing import surface
from services.process.domain.route.rate_rows import grit_rows, polishing_for
from shared_schemas.rates import GrindingRow, Rates


def with_grit(rates: Rates, changed: GrindingRow, times: float) -> Rates:
    rows = tuple(row.model_copy(update={"grit_um": times * row.grit_um}) if row == changed else row for row in rates.grinding)
    return Rates.model_construct(**{name: getattr(rates, name) for name in Rates.model_fields} | {"grinding": rows})


def polishing_min(work: ElementWork, rates: Rates) -> float:
    """Minutes of polishing a block of the front."""
    steps = surface(work, work.front, "block", rates, worked_first=True)
    return float(next(step.batch_min for step in steps if step.operation == "polish"))


def test_polishing_takes_off_the_damage_of_the_last_grit_and_of_no_other(work: Callable[..., Any], rates: Rates) -> None:
    made = work(irregularity=(20.0, 20.0), power=20.0, grade_mm=0.5)
    first, *_, last = grit_rows(rates, "block")
    usual = polishing_min(made, rates)
    assert polishing_min(made, with_grit(rates, first, 1.2)) == usual
    row = polishing_for(rates, made.glass, "block")
    more_um = row.stock_multiple * 0.2 * last.grit_um
    speed = row.preston_coefficient_per_pa * row.pressure_pa * row.speed_m_per_s
    knees = polishing_min(made, with_grit(rates, last, 1.2)) - usual
    assert knees == pytest.approx(more_um * 1e-6 / speed / 60)
