"""Every number of a blank and of a material model explains itself, for the lenses whose prices are kept."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from decimal import Decimal
from functools import cache
from typing import Any

import pytest
from jsonpointer import resolve_pointer

from services.optics.law import LAWS, Law
from services.rates.domain.seed import seed_rates
from services.shop.purchases import figures_of_step
from shared_schemas.blanks import Blank, BlankPlan, MaterialModel
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates
from tests.chain import through_stages
from tests.laws.equations import arguments_of, bound, figures_in, is_sequence, worked_out
from tests.laws.golden import lenses

NUMBERS_OF_A_BLANK = {name for name, field in Blank.model_fields.items() if field.annotation in (float, int)}
LENSES = lenses()


@cache
def planned(name: str) -> tuple[BlankPlan, Any]:
    """The blank plan of a lens, and its quote as JSON."""
    _, blanks, _, quote = through_stages(LENSES[name], seed_rates())
    return blanks, quote.model_dump(mode="json")


@cache
def laws_by_equation() -> dict[str, list[Law]]:
    known: dict[str, list[Law]] = {}
    for law in LAWS.values():
        known.setdefault(law.equation, []).append(law)
    return known


def unexplained(figures: Sequence[Figure], document: Any) -> Iterator[str]:
    """Every figure, in depth, that does not explain itself, with what is amiss."""
    for top in figures:
        for figure in figures_in(top):
            fault = fault_of(figure, document)
            if fault:
                yield f"{top.name}: {figure.name} = {figure.value}: {fault}"


def fault_of(figure: Figure, document: Any) -> str | None:
    if figure.formula is not None:
        return fault_of_formula(figure)
    if figure.at is not None:
        stands = resolve_pointer(document, figure.at, None)
        return None if stands == pytest.approx(figure.value, rel=1e-12) else f"{figure.at} has {stands}"
    if figure.reason is not None:
        return None if figure.inputs else "a decision without alternatives"
    if figure.rate_row is not None or figure.source is not None:
        return None
    return None if figure.name in COLUMNS else "nothing is told"


COLUMNS = {"length_mm", "width_mm", "thickness_mm", "diameter_mm", "price_per_kg", "lot_charge", "mould_charge", "remnant_credit"}
"""What may stand alone below a figure that quotes its row."""


def fault_of_formula(figure: Figure) -> str | None:
    for law in laws_by_equation().get(figure.formula or "", ()):
        single = [name for name in arguments_of(law) if not is_sequence(law, name)]
        if set(single) <= {one.name for one in figure.inputs}:
            again = worked_out(law, bound(law, figure))
            assert isinstance(figure.value, (int, float, Decimal))
            return None if math.isclose(again, float(figure.value), rel_tol=1e-9) else f"the equation gives {again}"
    return "its formula is no law of these inputs"


def rows_are_quoted_above(figures: Sequence[Figure]) -> bool:
    """Whether a figure that tells nothing stands right below one that quotes a row."""
    return all(
        below.formula or below.at or below.reason or below.rate_row or below.source or figure.rate_row
        for top in figures
        for figure in figures_in(top)
        for below in figure.inputs
    )


@pytest.mark.parametrize("name", LENSES)
def test_every_number_of_a_blank_has_a_figure_of_its_name_and_value(name: str) -> None:
    for blank in planned(name)[0].blanks:
        basis = {figure.name: figure for figure in blank.basis}
        assert set(basis) >= NUMBERS_OF_A_BLANK
        for number in NUMBERS_OF_A_BLANK:
            assert basis[number].value == pytest.approx(getattr(blank, number), rel=1e-12)


@pytest.mark.parametrize("name", LENSES)
def test_every_figure_of_a_blank_is_a_law_of_its_inputs_or_a_decision_or_stands_where_it_says(name: str) -> None:
    plan, document = planned(name)
    for blank in plan.blanks:
        made = {element["name"]: element for element in document["elements"]}[blank.element] | {
            "blank": json.loads(blank.model_dump_json())
        }
        elements = [made if element["name"] == blank.element else element for element in document["elements"]]
        assert list(unexplained(blank.basis, document | {"elements": elements})) == []
        assert rows_are_quoted_above(blank.basis)


@pytest.mark.parametrize("name", LENSES)
def test_every_number_of_a_material_model_and_its_steps_explains_itself(name: str) -> None:
    plan, document = planned(name)
    rates = seed_rates()
    for model in plan.materials:
        assert list(unexplained(model.basis, document)) == []
        for step in steps_of(model):
            figures = figures_of_step(step=step, rates=rates)
            assert {figure.name: figure.value for figure in figures} == {
                "cost": step.cost, "blanks": step.blanks, "pieces": step.pieces, "bought_mass_g": step.bought_mass_g, "lead_days": step.lead_days,
            }  # fmt: skip
    for step in plan.materials[0].steps[:2]:
        figures = figures_of_step(step=step, rates=rates)
        assert list(unexplained(figures, document)) == []
        assert rows_are_quoted_above(figures)


def steps_of(model: MaterialModel) -> Iterator[Any]:
    yield from model.steps
    for apart in model.apart:
        yield from steps_of(apart)


def test_a_step_out_of_the_store_is_charged_at_the_credit_lost_and_without_one_at_its_full_price() -> None:
    seed = seed_rates()
    for credit, share in ((0.25, Decimal("0.25")), (0.0, Decimal(1))):
        rows = tuple(
            row.model_copy(update={"owned_pieces": 1, "remnant_credit": credit}) if row.form == "slab" else row
            for row in seed.stock_forms
        )
        rates = Rates(**{table: getattr(seed, table) for table in Rates.model_fields} | {"stock_forms": rows})
        _, plan, _, quote = through_stages(LENSES["biconvex 25"], rates)
        step = plan.materials[0].steps[0]
        assert step.purchases[0].owned
        cost, *_ = figures = figures_of_step(step=step, rates=rates)
        assert list(unexplained(figures, quote.model_dump(mode="json"))) == []
        assert cost.value == step.cost
        assert next(one.value for one in figures_in(cost) if one.name == "value_share") == share
