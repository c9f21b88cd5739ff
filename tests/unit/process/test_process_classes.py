"""How hard an element is to work, in the classes by which minutes are learned."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from services.process.domain.element_work import ElementWork
from services.process.domain.route.classes import class_of, classes_of, glass_class
from services.process.domain.route.rate_rows import tolerance_row
from shared_schemas.rates import Rates
from tests import chain


@pytest.mark.parametrize(
    ("figure", "wanted"),
    [(3.0, "commercial"), (2.0, "commercial"), (0.6, "commercial"), (0.5, "precision"), (0.3, "precision"), (0.2, "high_precision"), (0.05, "high_precision")],
)  # fmt: skip
def test_a_figure_is_in_the_loosest_class_that_holds_it(rates: Rates, figure: float, wanted: str) -> None:
    row = tolerance_row(rates, "irregularity")
    assert (row.commercial, row.precision, row.high_precision) == (2, 0.5, 0.2)
    assert class_of(row, figure) == wanted


def test_each_face_is_polished_to_its_own_class_and_centring_answers_to_the_element(
    work: Callable[..., ElementWork], rates: Rates
) -> None:
    classes = classes_of(work(irregularity=(3.0, 0.2), power=10.0, grade_mm=0.63, centring_arcmin=2.0), rates)
    assert classes.tolerance_of("polish", "front") == "commercial"
    assert classes.tolerance_of("polish", "back") == "high_precision"
    assert classes.tolerance_of("centre", None) == "precision"
    assert classes.tolerance_of("pack", None) == "", "no tolerance slows it"


def test_the_class_of_a_glass_is_the_one_published_or_the_fitted_one_or_none(rates: Rates) -> None:
    published = next(row for row in rates.glasses if row.grindability_hg is not None)
    assert glass_class(published) == f"HG{published.grindability_hg}"
    fitted = published.model_copy(update={"grindability_hg": None})
    assert glass_class(fitted).startswith("HG")
    unknown: dict[str, Any] = {"grindability_hg": None, "knoop_hk": None}
    assert glass_class(published.model_copy(update=unknown)) == ""


def test_a_plan_has_the_classes_of_every_element_with_a_route(rates: Rates) -> None:
    _, _, operations = chain.sections_of(chain.published_triplet(), rates)
    assert [one.part for one in operations.classes] == [route.part for route in operations.routes if route.kind == "element"]
