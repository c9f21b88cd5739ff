"""The real chain: prescription and glass say what process reads."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from shared_schemas.operations import OperationPlan
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal

ROOT = Path(__file__).resolve().parents[3]
TRIPLET = json.loads((ROOT / "tests" / "outside" / "prescriptions" / "S2-to-quote.json").read_text(encoding="utf-8"))
DEMO = json.loads((ROOT / "services" / "desk" / "demo" / "lake_ice_lidar.json").read_text(encoding="utf-8"))


def chained(document: dict[str, Any], rates: Rates) -> tuple[Job, Any, Any]:
    asked = document if "prescription" in document else {"prescription": document, "quantities": [25]}
    job = Job(number="Q-1", attempt=1, request=QuoteRequest.model_validate(asked), rate_revision=1, quoted_on=date(2026, 11, 25))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal)
    return job, report, blanks


@pytest.mark.parametrize("document", [TRIPLET, DEMO], ids=["triplet", "demo lens"])
def test_the_real_chain_ends_in_a_route_for_every_part(document: dict[str, Any], rates: Rates) -> None:
    job, report, blanks = chained(document, rates)
    found = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert isinstance(found, OperationPlan)
    groups = job.request.prescription.cemented_groups()
    parts = [element.name for element in job.request.prescription.elements]
    parts += ["+".join(element.name for element in group) for group in groups if len(group) > 1]
    assert [route.part for route in found.routes] == [*parts, "lens"]
    known = {route.part for route in found.routes}
    assert all(part.part in known for route in found.routes for part in route.consumes)
    assert all(step.batch_min > 0 for route in found.routes for step in route.operations)


def unlike(element: dict[str, Any], number: int) -> dict[str, Any]:
    """An element with a name and a thickness of its own: elements that are alike would be one lot."""
    thickness = element["centre_thickness_mm"] + round(0.01 * number, 2)
    return {**element, "name": f"L{number + 1}", "centre_thickness_mm": thickness}


def test_a_lens_of_fourteen_elements_has_a_route_for_each(rates: Rates) -> None:
    lens = TRIPLET.get("prescription", TRIPLET)
    elements = [unlike(lens["elements"][number % 3], number) for number in range(14)]
    barrel = {**lens["barrel"], "length_mm": 340.0}
    document = {**lens, "elements": elements, "spaces": [{"gap_mm": 20.0}] * 13, "stop": None, "barrel": barrel}
    job, report, blanks = chained(document, rates)
    found = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert isinstance(found, OperationPlan)
    assert [route.part for route in found.routes] == [*(element["name"] for element in elements), "lens"]
