"""The report says when a lens does not focus, and which cell to look at."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from services.prescription.domain.check import check_prescription
from shared_schemas.check import CheckReport, Finding
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates

LENSES = Path(__file__).resolve().parents[2] / "outside" / "prescriptions"
Checked = Callable[[dict[str, Any]], CheckReport]


@pytest.fixture
def triplet() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((LENSES / "S2-to-quote.json").read_text(encoding="utf-8"))
    return copy.deepcopy(found)


@pytest.fixture
def checked(rates: Rates) -> Checked:
    return lambda lens: check_prescription(Prescription.model_validate(lens), rates)


def of_focus(report: CheckReport) -> list[Finding]:
    return [one for one in report.findings if one.code in ("focus-missing", "units-mistaken")]


def test_a_good_triplet_focuses_and_its_spot_is_in_the_report(triplet: dict[str, Any], checked: Checked) -> None:
    report = checked(triplet)
    assert of_focus(report) == []
    (axis,) = report.images
    assert axis.rms_spot_mm is not None
    assert axis.rms_spot_mm < 0.02
    assert axis.rays_lost_share == 0


def test_a_flipped_sign_is_named_with_the_radius_it_should_be(triplet: dict[str, Any], checked: Checked) -> None:
    triplet["elements"][1]["back"]["radius_mm"] *= -1
    (found,) = of_focus(checked(triplet))
    assert found.pointer == "/elements/1/back/radius_mm"
    assert found.remedy == "36.4 instead of -36.4"
    assert found.figure is not None


def test_a_slipped_decimal_is_named_with_the_radius_it_should_be(triplet: dict[str, Any], checked: Checked) -> None:
    triplet["elements"][2]["back"]["radius_mm"] = -370.5
    (found,) = of_focus(checked(triplet))
    assert found.pointer == "/elements/2/back/radius_mm"
    assert found.remedy == "-37.05 instead of -370.5"


def test_a_file_in_inches_is_told_by_the_barrel_it_rattles_in(triplet: dict[str, Any], checked: Checked) -> None:
    for element in triplet["elements"]:
        for key in ("diameter_mm", "centre_thickness_mm"):
            element[key] /= 25.4
        for face in ("front", "back"):
            for key in ("radius_mm", "clear_diameter_mm"):
                element[face][key] /= 25.4
        element["tolerances"] = {}
    for space in triplet["spaces"]:
        space["gap_mm"] /= 25.4
    for key in ("distance_mm", "diameter_mm"):
        triplet["stop"][key] /= 25.4
    (found,) = of_focus(checked(triplet))
    assert found.code == "units-mistaken"
    assert found.remedy == "read the file as inch instead of mm"


def test_a_lens_that_no_single_change_mends_says_so(triplet: dict[str, Any], checked: Checked) -> None:
    for element in triplet["elements"]:
        element["front"]["radius_mm"], element["back"]["radius_mm"] = 22.0, 40.0
    (found,) = of_focus(checked(triplet))
    assert found.code == "focus-missing"
    assert "No single change" in found.message
    assert found.remedy is None
