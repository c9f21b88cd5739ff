"""What the door refuses: names that the rates do not have, and a day that is gone."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from services.quoting.service.request_checks import faults_of_request
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import Rates
from tests.unit.quoting.conftest import request

TODAY = date(2026, 11, 2)


def faults(rates: Rates, **changes: Any) -> list[ProblemDetail]:
    return faults_of_request(request(**changes), rates=rates, today=TODAY)


def prescription(**changes: Any) -> dict[str, Any]:
    return {"prescription": {**request().prescription.model_dump(mode="json"), **changes}}


def with_element(**changes: Any) -> dict[str, Any]:
    elements = request().prescription.model_dump(mode="json")["elements"]
    return prescription(elements=[elements[0], {**elements[1], **changes}])


def test_a_request_of_known_names_is_admitted(rates: Rates) -> None:
    assert faults(rates) == []


def test_an_unknown_glass_is_refused_at_its_place_with_what_would_do(rates: Rates) -> None:
    (fault,) = faults(rates, **with_element(glass="N-BK77"))
    assert fault.pointer == "/prescription/elements/1/glass"
    assert fault.figure == "N-BK77"
    assert fault.remedy


def test_a_glass_given_by_its_index_is_admitted(rates: Rates) -> None:
    assert faults(rates, **with_element(glass={"nd": 1.6, "vd": 50.0})) == []


def test_an_unknown_coating_is_refused_at_its_face(rates: Rates) -> None:
    back = {**request().prescription.elements[1].back.model_dump(mode="json"), "coating": "moonlight"}
    (fault,) = faults(rates, **with_element(back=back))
    assert fault.pointer == "/prescription/elements/1/back/coating"


def test_an_indication_that_is_none_is_refused_at_its_place_with_an_example(rates: Rates) -> None:
    front = {**request().prescription.elements[1].front.model_dump(mode="json"), "form": "3/banana"}
    (fault,) = faults(rates, **with_element(front=front))
    assert (fault.pointer, fault.figure) == ("/prescription/elements/1/front/form", "3/banana")
    assert fault.remedy == "write it as 3/4(1)"


def test_a_coating_asked_for_by_what_it_does_is_admitted(rates: Rates) -> None:
    asked = {"reflectance_max_share": 0.005, "band_nm": [450.0, 650.0]}
    back = {**request().prescription.elements[1].back.model_dump(mode="json"), "coating": asked}
    assert faults(rates, **with_element(back=back)) == []


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"currency": "XTS"}, "/currency"),
        ({"customer_class": "royalty"}, "/customer_class"),
        ({"needed_by": "2026-11-01"}, "/needed_by"),
    ],
)
def test_what_the_rates_do_not_have_is_refused_by_name(rates: Rates, changes: dict[str, Any], pointer: str) -> None:
    (fault,) = faults(rates, **changes)
    assert fault.pointer == pointer
    assert fault.limit
    assert fault.remedy


def test_needed_today_is_not_yet_gone(rates: Rates) -> None:
    assert faults(rates, needed_by="2026-11-02") == []


def test_every_fault_is_told_at_once(rates: Rates) -> None:
    found = faults(rates, **with_element(glass="no glass"), currency="XTS", customer_class="royalty", needed_by="2020-01-01")
    assert [fault.pointer for fault in found] == ["/prescription/elements/1/glass", "/currency", "/customer_class", "/needed_by"]


def test_the_seeded_shop_has_the_classes_currencies_and_days_it_promises(rates: Rates) -> None:
    assert [row.name for row in rates.commercial] == ["standard", "partner", "research"]
    assert {row.name: row.minor_units for row in rates.currencies} == {"USD": 2, "EUR": 2, "GBP": 2, "CHF": 2, "JPY": 0, "KWD": 3}
    assert rates.base_currency == "USD"
    assert {row.holiday.year for row in rates.calendar if row.holiday} == {2026, 2027, 2028}
    assert {row.name for row in rates.shop_load} == {row.name for row in rates.work_centres}
