"""A good lens, and its figures to be changed, for the tests of prescription."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest

from services.prescription.domain.check import check_prescription
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates

Change = Callable[[dict[str, Any]], Any]

FACE = {"radius_mm": 60.0, "clear_diameter_mm": 23.0, "form": "3/3(0.5)", "imperfections": "5/3x0.16"}
TOLERANCES = {"diameter_mm": [0.0, -0.02], "centre_thickness_mm": 0.05, "centring": "4/2'"}


def good_lens() -> dict[str, Any]:
    """Two biconvex lenses of N-BK7 with air between, everything stated."""
    one = {
        "name": "L1",
        "glass": "N-BK7",
        "diameter_mm": 25.0,
        "centre_thickness_mm": 6.0,
        "front": FACE,
        "back": {**FACE, "radius_mm": -60.0},
        "tolerances": TOLERANCES,
    }
    return copy.deepcopy({"title": "two lenses", "elements": [one, {**one, "name": "L2"}], "spaces": [{"gap_mm": 5.0}]})


@pytest.fixture
def report(rates: Rates) -> Callable[..., CheckReport]:
    """The report of the good lens after some changes."""

    def of(*changes: Change) -> CheckReport:
        document = good_lens()
        for change in changes:
            change(document)
        return check_prescription(Prescription.model_validate(document), rates)

    return of
