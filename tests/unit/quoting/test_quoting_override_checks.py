"""What the door refuses of overrides: places, kinds, ranges and names that there are not, and any two that contradict each other."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from services.quoting.service.request_checks import faults_of_request
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import Rates
from tests.laws.overridden import MIXED, asked

TODAY = date(2026, 11, 2)


def faults(rates: Rates, *overrides: tuple[str, Any]) -> list[ProblemDetail]:
    listed = asked({}).model_dump(mode="json") | {
        "overrides": [{"pointer": pointer, "value": value, "author": "Ines", "reason": "so it is", "at": "2026-11-02T09:00:00Z"} for pointer, value in overrides]
    }  # fmt: skip
    return faults_of_request(type(asked({})).model_validate(listed), rates=rates, today=TODAY)


def test_overrides_of_every_kind_are_admitted(rates: Rates) -> None:
    assert faults_of_request(asked(MIXED), rates=rates, today=TODAY) == []


@pytest.mark.parametrize(
    ("pointer", "value", "at", "remedy"),
    [
        ("/operation/L1-saw/yield", 0.9, "pointer", "operations"),
        ("/operations/L1-saw/yeild", 0.9, "pointer", "yield"),
        ("/terms/discount", 0.1, "pointer", "discount_share"),
        ("/operations/L1-saw/yield", 1.2, "value", "a share over 0 and up to 1"),
        ("/operations/L1-saw/batch_min", -1, "value", "minutes, from 0"),
        ("/tooling/test plate/charge", 12.5, "value", '"12.50"'),
        ("/prices/25/unit_price", "700.005", "value", "round it"),
        ("/prices/26/unit_price", "700.00", "pointer", "25"),
        ("/starts/L1/30", 40, "pointer", "away"),
        ("/starts/L3/25", 40, "pointer", "L1"),
        ("/starts/L1/25", 24, "value", "25 or more"),
        ("/blanks/lens/price", "4.00", "pointer", "away"),
        ("/operations/L4+etching", {"work_centre": "clean bench"}, "pointer", "L"),
        ("/operations/L1+etching", {"work_centre": "clean bank"}, "value/work_centre", "clean bench"),
        ("/operations/L1+etching", {"work_centre": "clean bench", "piece_min": "3"}, "value", "an object with work_centre"),
    ],
)
def test_what_no_worksheet_of_this_lens_has_is_refused_at_its_place_with_what_would_do(
    rates: Rates, pointer: str, value: Any, at: str, remedy: str
) -> None:
    (fault,) = faults(rates, ("/terms/valid_days", 30), (pointer, value))
    assert fault.pointer == f"/overrides/1/{at}"
    assert remedy in str(fault.remedy)
    assert fault.limit


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (("/terms/valid_days", 30), ("/terms/valid_days", 60)),
        (("/prices/25/unit_price", "700.00"), ("/prices/25/discount_share", 0.1)),
        (("/prices/25/margin_share", 0.1), ("/prices/25/unit_price", "700.00")),
        (("/operations/L1-saw/left_out", True), ("/operations/L1-saw/setup_min", 3)),
    ],
)
def test_two_that_contradict_each_other_are_refused_with_both_pointers(
    rates: Rates, first: tuple[str, Any], second: tuple[str, Any]
) -> None:
    (fault,) = faults(rates, first, second)
    assert (fault.pointer, fault.figure, fault.limit) == ("/overrides/1/pointer", second[0], first[0])


def test_what_holds_for_other_quantities_and_operations_contradicts_nothing(rates: Rates) -> None:
    admitted = (
        ("/prices/25/unit_price", "700.00"),
        ("/prices/5/discount_share", 0.1),
        ("/terms/discount_share", 0.2),
        ("/operations/L1-saw/left_out", True),
        ("/operations/L2-saw/setup_min", 3),
        ("/operations/L1+etching", {"work_centre": "clean bench"}),
        ("/operations/L1+drying", {"work_centre": "clean bench"}),
        ("/starts/L1/25", 30),
        ("/starts/lens/25", 25),
    )
    assert faults(rates, *admitted) == []
