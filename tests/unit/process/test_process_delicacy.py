from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from services.process.domain.element_work import ElementWork
from services.process.domain.faces.surfacing import FaceOption, surface
from services.process.domain.plan import plan_operations
from services.process.domain.route.delicacy import HIGHEST_YIELD_POWER, Delicacy, shocked
from services.process.domain.route.lines import line
from shared_schemas.figure import Figure
from shared_schemas.operations import Operation, OperationPlan
from shared_schemas.rates import Rates

DELICATE = ("S-FPL53", "CaF2", "N-FK51A", "BaF2")


def per_piece(steps: Any, operations: set[str]) -> float:
    return float(sum(one.batch_min / one.batch_size + one.piece_min for one in steps if one.operation in operations))


def test_an_ordinary_crown_takes_no_longer(rates: Rates) -> None:
    crown = Delicacy(rates.glass("N-BK7"))
    assert (crown.work_factor, crown.yield_power, crown.stain_factor) == (1.0, 1.0, 1.0)


def test_what_the_row_states_wins_over_the_law(rates: Rates) -> None:
    stated = Delicacy(rates.glass("CaF2").model_copy(update={"work_factor": 7.0, "yield_power": 1.3}))
    assert (stated.work_factor, stated.yield_power) == (7.0, 1.3)
    assert stated.figure().formula is None


def test_a_yield_goes_to_no_higher_power_than_the_worst_known(rates: Rates) -> None:
    softest = rates.glass("BaF2").model_copy(update={"knoop_hk": 5.0, "yield_power": None, "work_factor": None})
    assert Delicacy(softest).yield_power == HIGHEST_YIELD_POWER


def test_acid_classes_from_51_on_are_those_of_class_5(rates: Rates) -> None:
    glass = rates.glass("N-BK7")
    factors = [Delicacy(glass.model_copy(update={"acid_sr": acid})).work_factor for acid in (5.0, 51.2, 53.3)]
    assert factors == [pytest.approx(1.15)] * 3


def test_crystals_that_crack_are_told_from_glass(rates: Rates) -> None:
    assert [shocked(rates.glass(name)) for name in ("CaF2", "BaF2", "N-BK7")] == [True, True, False]


@pytest.mark.parametrize("option", ["block", "single", "volume"])
@pytest.mark.parametrize("glass", DELICATE)
def test_a_delicate_glass_is_ground_and_polished_no_faster_than_a_crown(
    glass: str, option: FaceOption, work: Callable[..., ElementWork], rates: Rates
) -> None:
    crown, delicate = (
        per_piece(surface(made, made.front, option, rates, worked_first=True), {"block", "fine_grind", "polish", "deblock"})
        for made in (work(), work(glass=glass))
    )
    assert delicate >= crown


@pytest.mark.parametrize("glass", DELICATE)
def test_a_delicate_glass_loses_more_and_is_handled_longer(
    glass: str, lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    crown, delicate = (cleaned(lens(piece(glass=name)), rates) for name in ("N-BK7", glass))
    assert delicate.yield_share < crown.yield_share
    assert delicate.batch_min + delicate.piece_min > crown.batch_min + crown.piece_min
    assert "work_factor" in names(delicate.basis)


def cleaned(made: Any, rates: Rates) -> Operation:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
    assert isinstance(found, OperationPlan)
    return next(one for one in found.routes[0].operations if (one.operation, one.method) == ("clean", ""))


def names(figures: tuple[Figure, ...]) -> set[str]:
    return {one.name for one in figures}.union(*(names(one.inputs) for one in figures))


def test_of_what_fails_a_share_is_mended_in_minutes_of_its_own_and_of_the_operation(rates: Rates) -> None:
    changed = {"rework_share": 0.6, "rework_yield": 0.8, "rework_min": 3.0, "rework_of_operation": 0.5}
    rows = tuple(row.model_copy(update=changed) if row.operation == "blacken_edge" else row for row in rates.yields)
    mended = line("blacken_edge", rates.model_copy(update={"yields": rows}))
    assert (mended.rework_share, mended.rework_yield) == (0.6, 0.8)
    assert mended.rework_min == pytest.approx(3.0 + 0.5 * (mended.batch_min / mended.batch_size + mended.piece_min))
    basis = {figure.name: figure.value for figure in mended.as_operation().basis}
    assert basis["rework_min"] == mended.rework_min
    assert basis["rework_share"] == 0.6


def test_without_a_share_nothing_is_mended_whatever_it_would_take(rates: Rates) -> None:
    rows = tuple(row.model_copy(update={"rework_share": 0.0, "rework_min": 9.0, "rework_yield": 0.9}) for row in rates.yields)
    scrapped = line("blacken_edge", rates.model_copy(update={"yields": rows}))
    assert (scrapped.rework_share, scrapped.rework_yield, scrapped.rework_min) == (0.0, 0.0, 0.0)
    assert not [figure for figure in scrapped.as_operation().basis if figure.name.startswith("rework")]
