"""The whole chain in this process: a request through the pure functions of all four stages, as the queue would take it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.pricing.quote import assemble
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.load import LoadSnapshot
from shared_schemas.operations import OperationPlan
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal

ROOT = Path(__file__).resolve().parents[1]
QUOTED_ON = date(2026, 11, 2)


class Refused(AssertionError):
    """The chain refused a lens that the caller took to be makeable; it carries the refusal."""

    def __init__(self, refusal: Refusal) -> None:
        self.refusal = refusal
        super().__init__("; ".join(f"{reason.code} at {reason.pointer}: {reason.message}" for reason in refusal.reasons))


def job_of(request: QuoteRequest, load: LoadSnapshot | None = None) -> Job:
    """The head of a traveller for a request."""
    number = load.number if load else None
    return Job(number="Q", attempt=1, request=request, rate_revision=1, quoted_on=QUOTED_ON, load_snapshot=number)


def through_stages(
    request: QuoteRequest, rates: Rates, load: LoadSnapshot | None = None
) -> tuple[CheckReport, BlankPlan, OperationPlan, QuoteBody]:
    """The section of every stage; raises `Refused` where one refuses."""
    job = job_of(request, load)
    report, blanks, operations = sections_of(request, rates)
    return (
        report,
        blanks,
        operations,
        assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="chain", load=load),
    )


def sections_of(request: QuoteRequest, rates: Rates) -> tuple[CheckReport, BlankPlan, OperationPlan]:
    """The sections of the stages before quoting; raises `Refused` where one refuses."""
    job = job_of(request)
    report = _section(check(job=job, rates=rates))
    blanks = _section(plan_blanks(job=job, check=report, rates=rates))
    return report, blanks, _section(plan_operations(job=job, check=report, blanks=blanks, rates=rates))


def quote_of(request: QuoteRequest, rates: Rates, load: LoadSnapshot | None = None) -> QuoteBody:
    """The quote that a request gets, dated by the book of load if there is one; raises `Refused`."""
    return through_stages(request, rates, load)[3]


def _section(answer: Any) -> Any:
    if isinstance(answer, Refusal):
        raise Refused(answer)
    return answer


def singlet(
    *, glass: str = "N-BK7", diameter_mm: float = 25.0, centre_thickness_mm: float = 6.0, front_mm: float | None = 50.0,
    back_mm: float | None = -50.0, clear_mm: float | None = None, tolerances: dict[str, Any] | None = None, **of_faces: Any,
) -> dict[str, Any]:  # fmt: skip
    """The prescription of one element as JSON; `of_faces` goes to both faces."""
    clear = 0.9 * diameter_mm if clear_mm is None else clear_mm
    face = {"clear_diameter_mm": clear, "form": "3/3(0.5)", "imperfections": "5/3x0.16", **of_faces}
    element = {
        "name": "L1", "glass": glass, "diameter_mm": diameter_mm, "centre_thickness_mm": centre_thickness_mm,
        "front": {"radius_mm": front_mm, **face}, "back": {"radius_mm": back_mm, **face},
        "tolerances": tolerances or {"diameter_mm": [0.0, -0.03], "centre_thickness_mm": 0.05, "centring": "4/2'"},
    }  # fmt: skip
    return {"title": "one element", "elements": [element], "spaces": []}


def request_of(prescription: dict[str, Any], quantities: Sequence[int] = (1, 5, 25, 100), **fields: Any) -> QuoteRequest:
    """A request for a prescription."""
    return QuoteRequest.model_validate({"prescription": prescription, "quantities": list(quantities), "currency": "USD", **fields})


def demo() -> QuoteRequest:
    """The request of the demo lens."""
    return QuoteRequest.model_validate_json((ROOT / "services/desk/demo/lake_ice_lidar.json").read_text(encoding="utf-8"))


def published_triplet() -> QuoteRequest:
    """The request of the published triplet S2 (Smith, Modern Optical Engineering, 4th ed., p. 118-119), with tolerances of ours."""
    document = json.loads((ROOT / "tests/outside/prescriptions/S2-to-quote.json").read_text(encoding="utf-8"))
    return request_of(document, (1, 5, 25, 100, 500))


def alike_doublets(doublets: int = 2, quantities: Sequence[int] = (1, 5, 25, 100)) -> QuoteRequest:
    """The request of some cemented doublets one behind the other, alike in everything."""
    crown = singlet(diameter_mm=30.0, centre_thickness_mm=8.0, front_mm=60.0, back_mm=-45.0)["elements"][0]
    flint = singlet(glass="SF2", diameter_mm=30.0, centre_thickness_mm=3.0, front_mm=-45.0, back_mm=-200.0)["elements"][0]
    elements = [
        {**one, "name": f"L{2 * pair + place}"} for pair in range(doublets) for place, one in enumerate((crown, flint), start=1)
    ]
    spaces = [{"cemented": True}, *([{"gap_mm": 40.0}, {"cemented": True}] * (doublets - 1))]
    return request_of({"title": "alike doublets", "elements": elements, "spaces": spaces}, quantities)


def as_json(quote: QuoteBody) -> Any:
    """A quote as its JSON."""
    return json.loads(quote.model_dump_json())
