"""Every figure of a quote explains itself, and the formulas give the amounts again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

import pytest

from services.quoting.explain.basis import explain
from services.quoting.pricing.quote import assemble
from shared_schemas.figure import Figure
from shared_schemas.quote import Break
from shared_schemas.rates import Rates
from tests.laws.equations import bound, worked_out
from tests.laws.test_laws_equations import all_laws
from tests.unit.quoting.conftest import TERMS, sections, with_tables
from tests.unit.quoting.test_quoting_assemble import job


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


def test_every_figure_has_a_law_a_decision_a_rate_row_or_says_where_it_is_from(one: Case) -> None:
    for figure in walk(one.basis):
        assert figure.formula or figure.reason or figure.rate_row or figure.source or figure.at, figure.name


def test_the_quote_has_a_figure_for_each_of_its_amounts(one: Case) -> None:
    values = {figure.name: figure.value for figure in one.basis}
    assert values["unit_price"] == one.quoted.unit_price
    assert values["total_price"] == one.quoted.total_price
    assert values["unit_cost planned"] == one.quoted.unit_cost.planned
    assert values["lead_time p50_days"] == one.quoted.lead_time.p50_days
    assert values["lead_time p80_days"] == one.quoted.lead_time.p80_days
    assert values["lead_time p90_days"] == one.quoted.lead_time.p90_days
    for number, deciding in enumerate(one.quoted.lead_time.decided_by):
        assert values[f"lead_time decided_by {number} days"] == deciding.days
    assert values["spares_value"] == one.quoted.spares_value
    assert values["enough_chance"] == one.quoted.enough_chance
    for number, line in enumerate(one.quoted.lines):
        assert values[f"lines {number} amount"] == line.amount
    for number, need in enumerate(one.quoted.materials):
        assert (values[f"materials {number} quantity"], values[f"materials {number} cost"]) == (need.quantity, need.cost)
    for part, started in one.quoted.start_quantities.items():
        assert values[f"start_quantities {part}"] == started
    for number, driver in enumerate(one.quoted.risk_drivers):
        assert values[f"risk_drivers {number} share"] == driver.share
    assert one.quoted.expedite is not None
    assert values["expedite cost"] == one.quoted.expedite.cost
    assert values["expedite days_saved"] == one.quoted.expedite.days_saved
    assert any(line.kind == "minimum_order" for line in one.quoted.lines)


def test_what_lies_behind_an_amount_is_worked_out_again_in_the_names_of_its_inputs(one: Case) -> None:
    figures = [figure for figure in walk(one.basis) if figure.formula]
    assert {
        "unit_price",
        "cost",
        "overhead",
        "contingency",
        "machine_min",
        "run_min",
        "batches",
        "waiting_share",
        "wait at bench",
    } <= {figure.name for figure in figures}
    laws = {law.equation: law for law in all_laws()}
    for figure in figures:
        law = laws[str(figure.formula)]
        assert worked_out(law, bound(law, figure)) == pytest.approx(float(figure.value), rel=1e-9), figure


def test_the_wait_at_a_work_centre_is_worked_out_from_its_load(one: Case) -> None:
    waits = [figure for figure in walk(one.basis) if figure.name == "wait at bench"]
    assert waits
    assert waits[0].value == pytest.approx(0.5 / 0.5 * 1.0 * 4.0)
    assert {each.rate_row.table for each in walk((waits[0],)) if each.rate_row} == {"shop_load", "work_centres"}
