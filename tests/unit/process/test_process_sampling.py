from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from services.process.domain.element_work import ElementWork
from services.process.domain.plan import plan_operations
from services.process.domain.route.inspection import inspect_element, rows_of
from services.process.domain.route.rate_rows import tolerance_row
from services.process.domain.route.sampling import (
    LETTERS,
    LOTS_UP_TO,
    SAMPLE_SIZES,
    code_letter,
    plan_of_letter,
    sample_steps,
    sampling_plan,
)
from shared_schemas.operations import OperationPlan, Sampled, SampleStep
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import AQLS_PERCENT, InspectionRow, RateMissing, Rates

LOTS = st.integers(2, 600_000)
LEVELS = st.sampled_from(["I", "II", "III"])
COMMERCIAL = {
    "irregularity": (2.0, 2.0), "grade_mm": 0.4, "centring_arcmin": 6.0, "diameter_tolerance_mm": 0.05, "thickness_tolerance_mm": 0.15,
}  # fmt: skip


@pytest.mark.parametrize("letter", LETTERS)
def test_every_arrow_ends_at_a_plan(letter: str) -> None:
    for aql in AQLS_PERCENT:
        plan = plan_of_letter(letter, aql_percent=aql)
        assert plan.pieces == SAMPLE_SIZES[LETTERS.index(plan.letter)]
        assert plan.reject == plan.accept + 1


@given(lot=LOTS, aql=st.sampled_from(AQLS_PERCENT), level=LEVELS)
def test_no_more_than_the_lot_is_looked_at(lot: int, aql: float, level: str) -> None:
    assert 1 <= sampling_plan(lot=lot, aql_percent=aql, level=level).pieces <= lot


@given(lot=LOTS, level=LEVELS)
def test_a_wider_limit_never_accepts_on_a_smaller_share_of_the_sample(lot: int, level: str) -> None:
    """Whether up or down an arrow, Ac over n rises with the AQL."""
    letter = code_letter(lot=lot, level=level)
    plans = [plan_of_letter(letter, aql_percent=aql) for aql in AQLS_PERCENT]
    shares = [plan.accept / plan.pieces for plan in plans]
    assert shares == sorted(shares)


@given(lot=LOTS, aql=st.sampled_from(AQLS_PERCENT))
def test_a_higher_level_never_looks_at_fewer(lot: int, aql: float) -> None:
    letters = [LETTERS.index(code_letter(lot=lot, level=level)) for level in ("I", "II", "III")]
    assert letters == sorted(letters)


@given(lot=LOTS, aql=st.sampled_from(AQLS_PERCENT), level=LEVELS)
def test_the_steps_say_what_the_plan_says(lot: int, aql: float, level: Any) -> None:
    sampled = Sampled(looks_at="x", share=1.0, steps=sample_steps(aql_percent=aql, level=level))
    assert lot - sampled.spared(lot) == sampling_plan(lot=lot, aql_percent=aql, level=level).pieces


def test_steps_rise_and_the_last_is_open() -> None:
    steps = sample_steps(aql_percent=1.0, level="II")
    ends = [step.up_to for step in steps]
    assert ends[-1] is None
    assert ends[:-1] == sorted(end for end in ends if end is not None)
    assert set(ends[:-1]) <= set(LOTS_UP_TO)


@pytest.mark.parametrize("lot", [1, 0, -5])
def test_a_lot_of_less_than_two_has_no_plan(lot: int) -> None:
    with pytest.raises(FigureOutOfRange, match="2 and above"):
        sampling_plan(lot=lot, aql_percent=1.0, level="II")


def test_a_limit_that_is_no_column_is_refused() -> None:
    with pytest.raises(FigureOutOfRange, match=r"one of 0\.01"):
        sampling_plan(lot=100, aql_percent=3.0, level="II")


def test_a_rate_row_takes_only_a_limit_of_the_series(rates: Rates) -> None:
    row = rates.inspection[0].model_dump(by_alias=True)
    assert InspectionRow.model_validate(row | {"aql_percent": 2.5}).aql_percent == 2.5
    with pytest.raises(ValidationError, match="has no plans for that limit"):
        InspectionRow.model_validate(row | {"aql_percent": 3.0})


@pytest.mark.parametrize(("lot", "spared"), [(0, 0), (3, 0), (20, 0), (21, 1), (100, 80)])
def test_a_lot_up_to_its_sample_is_looked_at_whole(lot: int, spared: int) -> None:
    assert Sampled(looks_at="x", share=0.3, steps=(SampleStep(up_to=None, pieces=20, accept=0),)).spared(lot) == spared


def test_every_piece_of_a_precision_element_is_inspected(work: Callable[..., ElementWork], rates: Rates) -> None:
    assert inspect_element(work(grade_mm=0.16, diameter_tolerance_mm=0.0125, thickness_tolerance_mm=0.05), rates).sampled == ()


def test_what_is_commercial_is_sampled_and_form_and_centring_are_not(work: Callable[..., ElementWork], rates: Rates) -> None:
    line = inspect_element(work(**COMMERCIAL), rates)
    assert {one.looks_at for one in line.sampled} == {"cosmetic, coarse", "thickness", "diameter"}
    assert 0 < sum(one.share for one in line.sampled) < 1


def test_the_shares_are_those_of_the_minutes(work: Callable[..., ElementWork], rates: Rates) -> None:
    line = inspect_element(work(**COMMERCIAL), rates)
    minutes = {one.looks_at: one.share * line.batch_min for one in line.sampled}
    assert minutes == {"cosmetic, coarse": pytest.approx(1.4), "thickness": pytest.approx(0.5), "diameter": pytest.approx(0.4)}


def test_a_coating_on_the_sample_is_told_on_the_route_card(work: Callable[..., ElementWork], rates: Rates) -> None:
    operation = inspect_element(work(**COMMERCIAL), rates).as_operation()
    sampled = [figure for figure in operation.basis if figure.source == "ISO 2859-1"]
    assert len(sampled) == 3
    assert all("AQL" in str(figure.value) and "level II" in str(figure.value) for figure in sampled)


def test_finer_grade_and_finer_form_take_longer(work: Callable[..., ElementWork], rates: Rates) -> None:
    for field, figures in {"grade_mm": [0.4, 0.16, 0.063], "irregularity": [(2.0, 2.0), (0.5, 0.5), (0.22, 0.22)]}.items():
        minutes = [inspect_element(work(**{field: figure}), rates).batch_min for figure in figures]
        assert minutes == sorted(set(minutes)), field


def attended_min(made: ElementWork, rates: Rates, *, lot: int) -> float:
    """Minutes of inspecting a piece of a lot, of which a sample is spared some."""
    line = inspect_element(made, rates)
    return line.batch_min * (1 - sum(one.share * one.spared(lot) / lot for one in line.sampled))


@pytest.mark.parametrize("lot", [25, 10_000])
@given(share=st.floats(0.0, 1.0))
def test_looking_for_a_figure_1_percent_finer_never_makes_a_step(
    lot: int, share: float, work: Callable[..., ElementWork], rates: Rates
) -> None:
    for attribute, face, finest, widest in (
        ("imperfection_grade", "front", 0.02, 1.0),
        ("irregularity", "front", 0.05, 10.0),
        ("diameter", None, 0.004, 0.1),
        ("centre_thickness", None, 0.02, 0.3),
    ):
        figure = finest * (widest / finest) ** share
        made = work(**COMMERCIAL)
        asked, finer = (attended_min(made.with_figure(attribute, face, by * figure), rates, lot=lot) for by in (1.0, 0.99))  # type: ignore[arg-type]
        assert asked <= finer * (1 + 1e-12)
        assert finer < 1.03 * asked


def test_half_way_to_the_precision_class_a_sample_spares_half_of_the_look(work: Callable[..., ElementWork], rates: Rates) -> None:
    row = tolerance_row(rates, "diameter")
    half_way = (row.commercial * row.precision) ** 0.5
    shares = {
        figure: sum(one.share * line.batch_min for one in line.sampled if one.looks_at == "diameter")
        for figure in (row.commercial, half_way, row.precision)
        for line in [inspect_element(work(**COMMERCIAL | {"diameter_tolerance_mm": figure}), rates)]
    }
    assert list(shares.values()) == [pytest.approx(0.4), pytest.approx(0.2), pytest.approx(0.0)]


def test_a_row_by_the_piece_counts_once_and_one_by_the_lot_in_the_set_up(work: Callable[..., ElementWork], rates: Rates) -> None:
    def with_form_per(per: str) -> Rates:
        rows = tuple(row.model_copy(update={"per": per}) if row.looks_at == "form" else row for row in rates.inspection)
        return rates.model_copy(update={"inspection": rows})

    face, piece, lot = (inspect_element(work(), with_form_per(per)) for per in ("face", "piece", "lot"))
    form = rows_of(rates).form(irregularity_fringes=1.0, aspheric=False)
    assert form is not None
    assert face.batch_min - piece.batch_min == pytest.approx(form.minutes)
    assert piece.batch_min - lot.batch_min == pytest.approx(form.minutes)
    assert lot.setup_min > piece.setup_min == face.setup_min


def test_an_asphere_is_measured_by_its_profile(rates: Rates) -> None:
    asphere = rows_of(rates).form(irregularity_fringes=0.5, aspheric=True)
    sphere = rows_of(rates).form(irregularity_fringes=0.5, aspheric=False)
    assert asphere is not None
    assert sphere is not None
    assert asphere.row.aspheric
    assert asphere.minutes > sphere.minutes


def test_a_form_beyond_every_row_is_missing_by_name(rates: Rates) -> None:
    few = tuple(row for row in rates.inspection if not row.name.startswith("test plate"))
    with pytest.raises(RateMissing, match="form of 5 fringe"):
        rows_of(rates.model_copy(update={"inspection": few})).form(irregularity_fringes=5.0, aspheric=False)
    without = tuple(row for row in rates.inspection if row.looks_at != "form")
    assert rows_of(rates.model_copy(update={"inspection": without})).form(irregularity_fringes=5.0, aspheric=False) is None
    with pytest.raises(RateMissing, match="no row for texture"):
        rows_of(rates.model_copy(update={"inspection": few[:1]})).of("texture")
    with pytest.raises(RateMissing, match="imperfections of grade 99"):
        rows_of(rates).cosmetic(99.0)


def test_a_relaxation_to_commercial_brings_the_sample(lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates) -> None:
    asked = piece(**COMMERCIAL | {"grade_mm": 0.25})

    def planned(made: Any) -> OperationPlan:
        found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates)
        assert isinstance(found, OperationPlan)
        return found

    looser = planned(lens(replace(asked, grade_mm=0.4))).routes[0].operations
    found = planned(lens(asked))
    position = next(i for i, step in enumerate(looser) if (step.operation, step.method) == ("inspect", ""))
    of_grade = [one for one in found.relaxations if one.tolerance == "imperfection_grade"]
    assert of_grade
    # One face alone is relaxed at a time: its half of the cosmetic minutes is sampled then.
    sampled = [change.sampled for change in of_grade[0].operations if change.position == position]
    assert sampled
    assert sampled[0]
    assert {one.looks_at for one in sampled[0]} == {one.looks_at for one in looser[position].sampled}
