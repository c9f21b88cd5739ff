"""Every figure of the check report carries what explains it, by the name of its field and with its value."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import pytest
from pydantic import BaseModel

from services.optics.law import LAWS
from services.prescription.domain.check import check_prescription
from shared_schemas.check import CheckReport
from shared_schemas.figure import Figure
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests.laws.equations import bound, figures_in, worked_out
from tests.laws.golden import lenses

BY_EQUATION = {law.equation: law for law in LAWS.values()}
PARTS = ("front", "back")


def explained(part: BaseModel) -> Iterator[tuple[str, Any, tuple[Figure, ...]]]:
    """Every number of a part with the figures that its basis has under that name."""
    basis: tuple[Figure, ...] = part.basis  # type: ignore[attr-defined]
    for name in type(part).model_fields:
        value = getattr(part, name)
        numbers = value if isinstance(value, tuple) and name != "basis" else (value,)
        numbers = [one for one in numbers if isinstance(one, (int, float)) and not isinstance(one, bool)]
        if numbers:
            yield name, numbers, tuple(figure for figure in basis if figure.name == name)


def parts_of(report: CheckReport) -> Iterator[BaseModel]:
    yield report.first_order
    yield from report.spaces
    yield from report.images
    for element in report.elements:
        yield element
        yield element.front
        yield element.back


@pytest.mark.parametrize("lens", sorted(lenses()))
def test_every_number_of_the_report_is_explained_by_a_figure_of_its_name_and_value(lens: str, rates: Rates) -> None:
    request: QuoteRequest = lenses()[lens]
    report = check_prescription(request.prescription, rates, with_basis=True)
    for part in parts_of(report):
        for name, numbers, figures in explained(part):
            assert [float(figure.value) for figure in figures] == pytest.approx(numbers, rel=1e-9, abs=1e-12), (type(part), name)


@pytest.mark.parametrize("lens", sorted(lenses()))
def test_every_formula_gives_the_value_from_its_inputs_and_every_leaf_says_where_it_is_from(lens: str, rates: Rates) -> None:
    report = check_prescription(lenses()[lens].prescription, rates, with_basis=True)
    for part in parts_of(report):
        for figure in figures_in(part.basis):  # type: ignore[attr-defined]
            if figure.formula is None:
                assert figure.reason or figure.rate_row or figure.at or figure.source or not figure.inputs, figure
                continue
            law = BY_EQUATION[figure.formula]
            again = worked_out(law, bound(law, figure))
            assert math.isclose(again, float(figure.value), rel_tol=1e-9, abs_tol=1e-12), figure


def test_a_pointer_of_the_basis_leads_to_the_same_number(rates: Rates) -> None:
    request = lenses()["triplet"]
    report = check_prescription(request.prescription, rates, with_basis=True)
    document = {"prescription": request.prescription.model_dump(mode="json"), "check": report.model_dump(mode="json")}
    for part in parts_of(report):
        for figure in figures_in(part.basis):  # type: ignore[attr-defined]
            if figure.at is not None:
                here: Any = document
                for token in figure.at.split("/")[1:]:
                    here = here[int(token)] if isinstance(here, list) else here[token]
                if isinstance(here, (int, float)) and not figure.name.endswith("tolerance_mm"):
                    assert float(figure.value) == pytest.approx(here, rel=1e-12), figure.at


def test_without_asking_there_is_no_basis(rates: Rates) -> None:
    report = check_prescription(lenses()["triplet"].prescription, rates)
    assert all(part.basis == () for part in parts_of(report))  # type: ignore[attr-defined]


def test_demands_on_the_glass_are_explained_with_the_element(rates: Rates) -> None:
    report = check_prescription(lenses()["triplet"].prescription, rates, with_basis=True)
    for element in report.elements:
        assert element.glass_quality is not None
        demanded = {name: figure for name, figure in element.glass_quality if isinstance(figure, (int, float))}
        assert demanded
        assert {figure.name: figure.value for figure in element.basis if figure.name in demanded} == demanded
