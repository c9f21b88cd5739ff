"""Raw glass by its grade: a tighter drawing never makes it cheaper or sooner, and never by a step."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.glass.domain.blank.grades import between_grades, factor_between_grades, factor_of_grades
from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.rates.domain.gaps import gaps
from services.rates.domain.seed import seed_rates
from services.shop.purchases import figures_of_step
from shared_schemas.blanks import BlankPlan, MaterialStep
from shared_schemas.rates import Rates
from shared_schemas.traveller import Refusal
from tests.chain import job_of, request_of, singlet

SEED = seed_rates()
"""Hypothesis shows what a test is given, and would show every row of a fixture."""


def planned(rates: Rates, *, elements: tuple[dict[str, Any], ...] = ({},), **fields: Any) -> BlankPlan | Refusal:
    lens = singlet()
    first = lens["elements"][0] | fields
    lens["elements"] = [first | {"name": f"L{number}"} | one for number, one in enumerate(elements, start=1)]
    lens["spaces"] = [{"gap_mm": 20.0}] * (len(elements) - 1)
    job = job_of(request_of(lens, (25,)))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    return plan_blanks(job=job, check=report, rates=rates)


def plan(rates: Rates, **fields: Any) -> BlankPlan:
    found = planned(rates, **fields)
    assert isinstance(found, BlankPlan)
    return found


def first_step(rates: Rates, **fields: Any) -> MaterialStep:
    return plan(rates, **fields).materials[0].steps[0]


@settings(max_examples=25, deadline=None)
@given(stress=st.floats(2.1, 40.0), share=st.floats(0.95, 0.999))
def test_less_stress_is_never_cheaper_nor_sooner_nor_dearer_by_a_step(stress: float, share: float) -> None:
    looser, tighter = (first_step(SEED, stress_birefringence=f"0/{figure:.4f}") for figure in (stress, max(2.0, share * stress)))
    assert looser.cost <= tighter.cost <= looser.cost * Decimal("1.15")
    assert looser.lead_days <= tighter.lead_days <= looser.lead_days + 3
    if share >= 0.99:
        assert tighter.cost <= looser.cost * Decimal("1.03")


@settings(max_examples=25, deadline=None)
@given(grade=st.floats(0.02, 1.0), share=st.floats(0.99, 0.9999), count=st.integers(1, 20))
def test_smaller_or_fewer_bubbles_are_never_cheaper_nor_dearer_by_a_step(grade: float, share: float, count: int) -> None:
    usual, smaller, fewer = (
        first_step(SEED, bubbles=f"1/{n}x{size:.6f}")
        for n, size in ((count, grade), (count, share * grade), (max(1, count - 1), grade))
    )
    assert usual.cost <= smaller.cost <= usual.cost * Decimal("1.03")
    assert usual.cost <= fewer.cost
    assert usual.lead_days <= min(smaller.lead_days, fewer.lead_days)


@pytest.mark.parametrize(
    "ladder", [[f"2/{a};1" for a in range(6)], [f"2/1;{b}" for b in range(1, 6)], [f"0/{a}" for a in (40, 20, 10, 5, 2)]]
)
def test_every_finer_class_costs_as_much_or_more_and_comes_as_late_or_later(ladder: list[str], rates: Rates) -> None:
    field = "inhomogeneity" if ladder[0].startswith("2/") else "stress_birefringence"
    steps = [first_step(rates, **{field: indication}) for indication in ladder]
    assert [step.cost for step in steps] == sorted(step.cost for step in steps)
    assert [step.lead_days for step in steps] == sorted(step.lead_days for step in steps)
    assert steps[-1].cost > steps[0].cost
    assert steps[-1].lead_days > steps[0].lead_days


def test_what_makers_deliver_anyway_costs_nothing(rates: Rates) -> None:
    usual = plan(rates)
    asked = plan(rates, stress_birefringence="0/20", bubbles="1/3x0.16", inhomogeneity="2/1;2")
    assert asked.materials == usual.materials
    assert asked.blanks == usual.blanks
    assert not any(one.code.startswith("glass-grade") for one in asked.findings)


def test_the_grade_is_named_with_its_factor_and_its_days(rates: Rates) -> None:
    (said,) = [one for one in plan(rates, inhomogeneity="2/4;1").findings if one.code == "glass-graded"]
    assert said.figure == 2.5
    assert said.source.endswith("row homogeneity, H4")
    assert "homogeneity H4 (NH002) (2/4)" in said.message
    assert "14 days more" in said.message
    (between,) = [one for one in plan(rates, stress_birefringence="0/15").findings if one.code == "glass-graded"]
    assert "between 20 nm/cm and 10 nm/cm (0/15)" in between.message


def test_the_factor_is_on_the_price_of_the_glass_and_the_certificate_once_on_the_lot(rates: Rates) -> None:
    usual, graded = first_step(rates), first_step(rates, inhomogeneity="2/3;1")
    (before,), (after,) = usual.purchases, graded.purchases
    assert (before.stock, before.pieces) == (after.stock, after.pieces)
    row = rates.stock_form(before.stock)
    charges = row.lot_charge + row.mould_charge
    assert after.amount == pytest.approx((before.amount - charges) * Decimal("1.7") + charges + Decimal(80))
    assert graded.lead_days == usual.lead_days + 7


def test_a_step_of_graded_glass_explains_its_cost_and_days_from_the_row(rates: Rates) -> None:
    step = first_step(rates, inhomogeneity="2/3;3", stress_birefringence="0/7")
    figures = {figure.name: figure for figure in figures_of_step(step=step, rates=rates)}
    assert figures["cost"].value == step.cost
    assert figures["lead_days"].value == step.lead_days
    (line,) = step.purchases
    row = rates.stock_form(line.stock)
    assert line.price_per_kg / line.grade_factor in {price.price_per_kg for price in row.prices}
    (inside,) = [figure for figure in figures["lead_days"].inputs if figure.name == "lead_days"]
    assert {one.name: one.value for one in inside.inputs}["lead_days"] == row.lead_days


def test_the_factor_of_a_blank_is_explained_down_to_the_rows(rates: Rates) -> None:
    (blank,) = plan(rates, stress_birefringence="0/15", inhomogeneity="2/2;1").blanks[:1]
    (factor,) = [figure for figure in blank.basis if figure.name == "grade_factor"]
    by_stress, by_homogeneity = factor.inputs
    named = {one.rate_row.row for one in by_stress.inputs if one.rate_row is not None}
    assert named == {"stress, usual", "stress, fine annealed"}
    assert by_homogeneity.rate_row is not None
    assert by_homogeneity.rate_row.row == "homogeneity, H2"


def test_elements_of_one_glass_in_two_grades_do_not_share_a_purchase(rates: Rates) -> None:
    together = plan(rates, elements=({}, {"centre_thickness_mm": 6.5}))
    apart = plan(rates, elements=({}, {"centre_thickness_mm": 6.5, "inhomogeneity": "2/4;1"}))
    assert any(set(one.members) == {"L1", "L2"} for one in together.materials)
    assert {one.members for one in apart.materials} == {("L1",), ("L2",)}
    graded = next(one for one in apart.materials if one.members == ("L2",))
    assert all(line.grade_factor == Decimal("2.5") for step in graded.steps for line in step.purchases)


@pytest.mark.parametrize(
    ("fields", "pointer", "row"),
    [
        ({"stress_birefringence": "0/1"}, "/elements/0/stress_birefringence", "stress, picked"),
        ({"bubbles": "1/1x0.001"}, "/elements/0/bubbles", "bubbles, picked from several melts"),
    ],
)
def test_a_grade_finer_than_any_is_refused_with_the_finest(fields: dict[str, str], pointer: str, row: str, rates: Rates) -> None:
    refusal = planned(rates, **fields)
    assert isinstance(refusal, Refusal)
    (reason,) = refusal.reasons
    assert (reason.code, reason.pointer) == ("glass-grade-unmeetable", pointer)
    assert reason.source.endswith(f"row {row}")


def test_without_rows_a_stated_grade_is_said_not_to_be_priced_and_a_default_is_not(rates: Rates) -> None:
    bare = rates.model_copy(update={"glass_grades": ()})
    found = plan(bare, stress_birefringence="0/4")
    assert [one.pointer for one in found.findings if one.code == "glass-grade-not-priced"] == ["/elements/0/stress_birefringence"]
    assert not any(one.code == "glass-grade-not-priced" for one in plan(bare).findings)


def test_a_grade_beyond_what_the_faces_need_is_said(rates: Rates) -> None:
    (said,) = [one for one in plan(rates, inhomogeneity="2/5;1").findings if one.code == "glass-grade-unneeded"]
    assert said.source.endswith("row homogeneity, H3")
    fine = {"radius_mm": 50.0, "clear_diameter_mm": 22.0, "form": "3/0.2(0.05)"}
    strict = plan(rates, inhomogeneity="2/3;1", centre_thickness_mm=12.0, front=fine, back=fine | {"radius_mm": -50.0})
    assert "glass-grade-unneeded" not in {one.code for one in strict.findings}


def test_factors_multiply_up_to_a_cap() -> None:
    assert factor_of_grades(factors=[1.3, 1.1]) == pytest.approx(1.43)
    assert factor_of_grades(factors=[4.0, 1.8, 2.2]) == 8.0
    assert factor_of_grades(factors=[]) == 1.0


@given(figure=st.floats(4.0, 10.0))
def test_between_two_grades_the_ramp_meets_both_and_rises(figure: float) -> None:
    ends: dict[str, float] = {"looser_figure": 10.0, "tighter_figure": 4.0, "looser": 1.1, "tighter": 1.5}
    for ramp in (between_grades, factor_between_grades):
        assert ramp(figure=10.0, **ends) == pytest.approx(1.1)
        assert ramp(figure=4.0, **ends) == pytest.approx(1.5)
        assert ramp(figure=figure * 0.999, **ends) > ramp(figure=figure, **ends)


@pytest.mark.parametrize(
    ("name", "change", "column"),
    [
        ("homogeneity, H4", {"price_factor": 1.5}, "price_factor"),
        ("stress, picked", {"more_days": 1.0}, "more_days"),
        ("striae, in two directions", {"certificate_charge": Decimal(10)}, "certificate_charge"),
        ("bubbles, usual", {"price_factor": 1.1}, "price_factor"),
        ("striae, fine", {"figure": 30.0}, "figure"),
    ],
)
def test_a_ramp_of_grades_that_falls_is_refused_by_row_and_column(
    name: str, change: dict[str, Any], column: str, rates: Rates
) -> None:
    rows = tuple(row.model_copy(update=change) if row.name == name else row for row in rates.glass_grades)
    number = next(n for n, row in enumerate(rows) if row.name == name)
    assert f"/rows/{number}/{column}" in {
        one.pointer for one in gaps(rates.model_copy(update={"glass_grades": rows}), "glass_grades")
    }
    assert gaps(rates, "glass_grades") == []
