"""`?of=` answers for every number of a quote: with the law that gave it, the row, the customer's figure, or the decision."""

from __future__ import annotations

import math
from collections import Counter
from decimal import Decimal

import pytest

from services.optics.law import LAWS
from shared_schemas.figure import Figure
from tests.laws.equations import bound, worked_out
from tests.laws.shown import CASES, answers, equations_shown, figures_shown, shown
from tests.laws.test_laws_equations import all_laws, fault_of

BY_EQUATION = {law.equation: law for law in all_laws()}


def kind_of(figure: Figure) -> str:
    """Which of the answers a figure has; none where it has none."""
    if figure.formula:
        return "law" if figure.formula in BY_EQUATION else ""
    if figure.reason:
        return "decision"
    if figure.rate_row:
        return "row"
    if figure.source == "the request":
        return "given"
    return "method" if figure.source else ""


@pytest.mark.parametrize("name", CASES)
def test_every_number_of_a_quote_has_an_answer_with_its_own_value(name: str) -> None:
    kinds: Counter[str] = Counter()
    for pointer, value, figure in answers(name):
        assert str(figure.value) == str(value), pointer
        kinds[kind_of(figure)] += 1
        assert kind_of(figure), pointer
    assert sum(kinds.values()) > 3500, kinds
    assert kinds["law"] > 0.3 * sum(kinds.values()), kinds
    assert kinds["row"] > 0.2 * sum(kinds.values()), kinds


@pytest.mark.parametrize("name", CASES)
def test_what_a_figure_shows_gives_it_again_by_its_equation(name: str) -> None:
    seen = set()
    for figure in figures_shown(name):
        key = (figure.formula, str(figure.value), tuple(str(one.value) for one in figure.inputs))
        if not figure.formula or key in seen:
            continue
        seen.add(key)
        law = BY_EQUATION[figure.formula]
        again = worked_out(law, bound(law, figure))
        assert math.isclose(again, float(figure.value), rel_tol=1e-9, abs_tol=1e-9), figure
    assert len(seen) > 1000


def test_every_equation_that_is_shown_is_one_that_is_checked() -> None:
    shown_equations = equations_shown()
    checked = {law.equation for law in LAWS.values() if fault_of(law) is None}
    assert shown_equations <= checked, f"{len(shown_equations)} shown, {len(shown_equations & checked)} of them checked"
    assert len(shown_equations) > 60


@pytest.mark.parametrize("name", ["demo in yen", "triplet in euro"])
def test_money_of_another_currency_is_converted_by_its_row_and_rounded_to_its_minor_units(name: str) -> None:
    quote = shown(name)
    minor_units, currency = (0, "JPY") if "yen" in name else (2, "EUR")
    amounts = [
        (f"/{part}/{number}/{field}", one[field])
        for part, fields in (("tooling", ("charge",)), ("bought_parts", ("lot_charge", "unit_price")))
        for number, one in enumerate(quote.document[part])
        for field in fields
    ]
    amounts += [
        (f"/elements/{at}/operations/{number}/consumables", operation["consumables"])
        for at, element in enumerate(quote.document["elements"])
        for number, operation in enumerate(element["operations"])
        if Decimal(operation["consumables"])
    ]
    assert len(amounts) > 20
    for pointer, amount in amounts:
        figure = quote.of(pointer)
        assert Decimal(amount) == round(Decimal(amount), minor_units), pointer
        assert figure.unit.startswith(currency), pointer
        assert figure.formula == "round(amount * per_base, minor_units)", pointer
        rows = {one.name: one.rate_row for one in figure.inputs}
        assert rows["per_base"] is not None
        assert (rows["per_base"].table, rows["per_base"].row) == ("currencies", currency)
        assert {one.unit.split("/")[0] for one in figure.inputs if one.name == "amount"} == {"USD"}, pointer


def test_a_figure_that_stands_elsewhere_is_answered_as_it_is_there() -> None:
    quote = shown("demo")
    price = quote.of("/breaks/0/total_price")
    assert [one.at for one in price.inputs] == ["/breaks/0/unit_price", "/breaks/0/quantity"]
    assert quote.of("/breaks/0/quantity").source == "the request"
    assert quote.of(price.inputs[0].at or "").formula == "ceil(sum(lines) / quantity / step) * step"


def test_a_column_of_the_row_above_is_answered_with_that_row() -> None:
    quote = shown("demo")
    silent = [
        (f"/elements/{at}/blank/basis", figure)
        for at, element in enumerate(quote.document["elements"])
        for figure in element["blank"]["basis"]
    ]
    assert silent
    for pointer, _, figure in answers("demo"):
        if pointer.endswith("/lot_charge/value"):
            assert figure.rate_row is not None
