"""What a relaxation is said to save is what a requote with it saves."""

from __future__ import annotations

import copy
import json
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.pricing.quote import assemble
from shared_schemas.quote import QuoteBody, QuotedRelaxation
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal

TRIPLET = Path(__file__).resolve().parents[2] / "outside" / "prescriptions" / "S2-to-quote.json"
TRIED = ("irregularity", "power", "imperfection_grade", "centre_thickness")


def quoted(prescription: dict[str, Any], rates: Rates) -> QuoteBody:
    request = QuoteRequest.model_validate({"prescription": prescription, "quantities": [25]})
    job = Job(number="Q-1", attempt=1, request=request, rate_revision=1, quoted_on=date(2026, 11, 25))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal)
    operations = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert not isinstance(operations, Refusal)
    return assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="d")


def granted(prescription: dict[str, Any], one: QuotedRelaxation) -> dict[str, Any]:
    """The prescription as the customer would send it with that tolerance relaxed."""
    changed = copy.deepcopy(prescription)
    _, _, number, where, *_ = one.where.split("/")
    element = changed["elements"][int(number)]
    if one.tolerance == "centre_thickness":
        element["tolerances"]["centre_thickness_mm"] = one.to_figure
        return changed
    face = element[where]
    if one.tolerance == "imperfection_grade":
        face["imperfections"] = re.sub(r"x[\d.]+$", f"x{one.to_figure:g}", face["imperfections"])
    elif one.tolerance == "irregularity":
        face["form"] = re.sub(r"\(.*\)", f"({one.to_figure:g})", face["form"])
    else:
        face["form"] = re.sub(r"3/[\d.]+", f"3/{one.to_figure:g}", face["form"])
    return changed


def test_each_relaxation_saves_what_asking_for_it_saves(rates: Rates) -> None:
    lens = json.loads(TRIPLET.read_text(encoding="utf-8"))
    asked = quoted(lens, rates)
    tried = [one for one in asked.relaxations if one.tolerance in TRIED]
    assert len(tried) > 8
    for one in tried:
        requote = quoted(granted(lens, one), rates)
        saved = asked.breaks[0].unit_price - requote.breaks[0].unit_price
        assert float(saved) == pytest.approx(float(one.saving_per_unit), abs=0.02 * float(asked.breaks[0].unit_price)), (
            one.where,
            one.tolerance,
        )
