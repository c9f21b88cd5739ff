"""Every figure that the operation plan shows is a law's, a decision's with its reason, or a leaf that says where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import jsonpointer
import pytest

from services.optics.law import LAWS
from services.rates.domain.seed import seed_rates
from shared_schemas.figure import Figure
from shared_schemas.operations import OperationPlan
from tests.chain import as_json, demo, published_triplet, request_of, singlet, through_stages
from tests.laws.equations import bound, worked_out

LENSES = {
    "demo": demo(),
    "triplet": published_triplet(),
    "thin and leaded": request_of(
        singlet(glass="SF2", diameter_mm=60.0, centre_thickness_mm=3.6, front_mm=150.0, back_mm=140.0), (5,)
    ),
    "fine and small": request_of(
        singlet(diameter_mm=8.0, centre_thickness_mm=2.5, front_mm=14.0, back_mm=-20.0, form="3/1(0.1)", imperfections="5/1x0.04"), (5,)
    ),
}  # fmt: skip
BY_EQUATION = {
    law.equation: law
    for law in LAWS.values()
    if law.function.__module__.startswith(("services.process", "services.optics", "services.shop"))
}


def planned(name: str) -> tuple[OperationPlan, Any]:
    _, _, plan, quote = through_stages(LENSES[name], seed_rates())
    return plan, as_json(quote)


def figures_of(plan: OperationPlan) -> Iterator[tuple[Figure, bool]]:
    """Every figure, and whether it stands somewhere below one that quotes a rate row."""
    tops = [one for route in plan.routes for operation in route.operations for one in operation.basis]
    tops += [one for owner in (*plan.bought_parts, *plan.tooling, *plan.offers) for one in owner.basis]
    for top in tops:
        yield from _below(top, in_row=False)


def _below(figure: Figure, *, in_row: bool) -> Iterator[tuple[Figure, bool]]:
    yield figure, in_row
    for one in figure.inputs:
        yield from _below(one, in_row=in_row or figure.rate_row is not None)


@pytest.mark.parametrize("name", LENSES)
def test_a_formula_is_that_of_a_law_and_gives_the_figure_again_from_what_is_shown(name: str) -> None:
    plan, _ = planned(name)
    formulas = [figure for figure, _ in figures_of(plan) if figure.formula]
    assert formulas
    for figure in formulas:
        law = BY_EQUATION[str(figure.formula)]
        assert worked_out(law, bound(law, figure)) == pytest.approx(float(figure.value), rel=1e-9, abs=1e-12), figure


@pytest.mark.parametrize("name", LENSES)
def test_what_has_no_formula_has_a_reason_or_says_where_it_stands(name: str) -> None:
    plan, _ = planned(name)
    for figure, in_row in figures_of(plan):
        assert figure.formula or figure.reason or figure.rate_row or figure.at or figure.source or in_row, figure
        assert not (figure.inputs and not (figure.formula or figure.reason)), figure


@pytest.mark.parametrize("name", LENSES)
def test_a_place_that_a_figure_points_at_has_that_figure(name: str) -> None:
    plan, quote = planned(name)
    pointing = [figure for figure, _ in figures_of(plan) if figure.at]
    assert pointing
    for figure in pointing:
        assert float(jsonpointer.resolve_pointer(quote, figure.at)) == pytest.approx(float(figure.value), rel=1e-12), figure


@pytest.mark.parametrize("name", LENSES)
def test_minutes_yield_and_what_is_spent_are_explained_by_their_names(name: str) -> None:
    plan, _ = planned(name)
    for operation in (one for route in plan.routes for one in route.operations):
        basis = {figure.name: figure.value for figure in operation.basis}
        assert len(basis) == len(operation.basis)
        shown = {name: getattr(operation, name) for name in ("setup_min", "batch_size", "batch_min")}
        assert {name: basis[name] for name in shown} == shown
        assert basis.get("piece_min", 0.0) == operation.piece_min
        assert basis["yield"] == operation.yield_share
        assert basis.get("consumables", Decimal(0)) == operation.consumables
        assert basis.get("attended_share", operation.attended_share) == operation.attended_share
