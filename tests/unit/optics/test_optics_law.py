"""A figure explains itself by the law that gave it."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from services.optics.body import mass_g
from services.optics.law import decided, figure_of, given, law, law_of


@law
def doubled_mm(*, length_mm: float) -> float:
    """Twice a length [mm].

    Equation: 2
        * length_mm.
    Source: Euclid.
    """
    return 2 * length_mm


@law
def whole_mm(*, parts_mm: Sequence[float]) -> float:
    """A length out of its parts.

    Equation: sum(parts_mm)
    """
    return sum(parts_mm)


def test_the_value_is_the_functions_and_the_formula_its_equation() -> None:
    figure = figure_of(doubled_mm, length_mm=given("radius_mm", 3.0, "mm", at="/prescription/elements/0/front/radius_mm"))
    assert (figure.name, figure.value, figure.unit, figure.formula, figure.source) == (
        "doubled_mm",
        6.0,
        "mm",
        "2 * length_mm",
        "Euclid",
    )
    assert [(one.name, one.at) for one in figure.inputs] == [("length_mm", "/prescription/elements/0/front/radius_mm")]


def test_several_figures_for_one_argument_keep_their_names() -> None:
    figure = figure_of(whole_mm, name="length_mm", parts_mm=[given("L1", 2.0), given("gap", 1.5)])
    assert figure.value == 3.5
    assert [one.name for one in figure.inputs] == ["L1", "gap"]


def test_a_decision_says_why_and_what_else_there_was() -> None:
    figure = decided("form", "slab", "the cheapest of", alternatives=[given("slab", 31.5), given("pressing", 38.0)])
    assert figure.formula is None
    assert [one.value for one in figure.inputs] == [31.5, 38.0]


def test_a_function_that_states_no_equation_is_no_law() -> None:
    def silent() -> float:
        """No figure."""
        return 0.0

    with pytest.raises(ValueError, match="states no equation"):
        law(silent)
    with pytest.raises(LookupError, match="no @law"):
        law_of(silent)
    assert law_of(mass_g).equation == "volume_mm3 * density_g_cm3 / 1000"
