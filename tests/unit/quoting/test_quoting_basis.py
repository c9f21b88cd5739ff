"""Every figure of a quote explains itself, and the formulas give the amounts again."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import pytest

from services.quoting.explain.explanation import explain
from services.quoting.pricing.quote import assemble
from shared_schemas.figure import Figure
from shared_schemas.quote import Break
from shared_schemas.rates import Rates
from tests.unit.quoting.conftest import TERMS, sections, with_tables
from tests.unit.quoting.test_quoting_assemble import job

SUM = "sum of the inputs"


@dataclass(frozen=True)
class Case:
    """A break of a quote with the figures that explain it."""

    quoted: Break
    basis: tuple[Figure, ...]


@pytest.fixture(params=["USD", "JPY", "KWD"])
def one(request: pytest.FixtureRequest, shop_rates: Rates) -> Case:
    rates = with_tables(shop_rates, commercial=(TERMS.model_copy(update={"minimum_order": Decimal(90_000)}),))
    given = sections(job=job(currency=request.param))
    explained = explain(**{name: given[name] for name in ("job", "blanks", "operations")}, rates=rates)
    return Case(assemble(**given, rates=rates, rate_digest="d").breaks[0], explained.breaks[0].figures)


def walk(figures: tuple[Figure, ...]) -> Iterator[Figure]:
    for figure in figures:
        yield figure
        yield from walk(figure.inputs)


def worked_out(figure: Figure) -> Decimal:
    """The value of a formula that is written in the names of its inputs."""
    if figure.formula == SUM:
        return sum((Decimal(str(one.value)) for one in figure.inputs), Decimal(0))
    names: dict[str, Any] = {one.name: Decimal(str(one.value)) for one in figure.inputs}
    assert figure.formula is not None
    first = figure.formula.split(";")[0].replace(" x ", " * ")
    found = eval(first, {"__builtins__": {}, "ceil": math.ceil}, names)
    return Decimal(found)


def test_every_figure_has_a_formula_a_rate_row_or_a_source(one: Case) -> None:
    for figure in walk(one.basis):
        assert figure.formula or figure.rate_row or figure.source, figure.name


def test_the_quote_has_a_figure_for_each_of_its_amounts(one: Case) -> None:
    values = {figure.name: figure.value for figure in one.basis}
    assert values["unit_price"] == one.quoted.unit_price
    assert values["total_price"] == one.quoted.total_price
    assert values["lead_time"] == one.quoted.lead_time.p50_days
    for line in one.quoted.lines:
        assert values[f"line {line.kind}"] == line.amount
    starts = next(figure for figure in one.basis if figure.name == "start_quantities")
    assert {figure.name: figure.value for figure in starts.inputs} == one.quoted.start_quantities
    assert any(line.kind == "minimum_order" for line in one.quoted.lines)


def test_the_formula_of_every_amount_gives_it_again_from_its_inputs(one: Case) -> None:
    amounts = [figure for figure in one.basis if figure.name.startswith("line ") or figure.name.endswith("_price")]
    assert len(amounts) == 10
    amounts += [
        figure for figure in walk(one.basis) if figure.formula == SUM or (figure.formula or "").startswith("machine_min / 60")
    ]
    bought = next(figure for figure in walk(one.basis) if figure.name == "barrel")
    for figure in [*amounts, bought]:
        assert worked_out(figure) == pytest.approx(Decimal(str(figure.value)), abs=Decimal("0.501")), figure.name


RECOMPUTED = {
    "cost", "overhead", "contingency", "machine_min", "attended_min", "run", "batches", "s", "p50_h", "p90_h", "jobs waiting", "surcharges",
}  # fmt: skip


def test_what_lies_behind_an_amount_is_worked_out_again_in_the_names_of_its_inputs(one: Case) -> None:
    told = [figure for figure in walk(one.basis) if figure.name in RECOMPUTED and figure.formula]
    assert {figure.name for figure in told} == RECOMPUTED
    functions = {"ceil": math.ceil, "exp": math.exp, "ln": math.log, "sqrt": math.sqrt}
    for figure in told:
        assert figure.formula is not None
        if figure.formula == SUM:
            again = sum(float(each.value) for each in figure.inputs)
        else:
            names = {each.name: float(each.value) for each in figure.inputs}
            again = eval(figure.formula.replace(" x ", " * ").replace("^", "**"), {"__builtins__": {}, **functions}, names)
        assert again == pytest.approx(float(figure.value), rel=1e-6), figure


def test_the_wait_at_a_work_centre_is_worked_out_from_its_load(one: Case) -> None:
    waits = [figure for figure in walk(one.basis) if figure.name == "wait at bench"]
    assert waits
    assert waits[0].value == pytest.approx(0.5 / 0.5 * 1.0 * 4.0)
    assert {each.rate_row.table for each in waits[0].inputs if each.rate_row} == {"shop_load", "work_centres"}
