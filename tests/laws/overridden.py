"""A small lens with figures set by an estimator, for laws over overrides: planned once, priced as often as is asked."""

from __future__ import annotations

import copy
import json
from collections.abc import Mapping
from functools import cache
from typing import Any

from services.quoting.explain.basis import explain
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.overridden.remarks import OfOverrides, of_overrides
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.quote import assemble, plans_for
from services.quoting.pricing.worksheet import worksheet_figures
from services.rates.domain.seed import seed_rates
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.operations import OperationPlan
from shared_schemas.overrides import SettableFigure
from shared_schemas.quote import ExplainedBreak, QuoteBody
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests.chain import job_of, request_of, sections_of, singlet

QUANTITIES = (5, 25, 100)
WHO = {"author": "Ines", "reason": "as it was last time", "at": "2026-11-02T09:00:00Z"}

MIXED: dict[str, Any] = {
    "/terms/discount_share": 0.05,
    "/terms/margin_share": 0.2,
    "/terms/contingency_share": 0.1,
    "/terms/tooling": "spread",
    "/terms/valid_days": 10,
    "/terms/currency_clause": "Prices move with the euro.",
    "/prices/25/unit_price": "700.00",
    "/prices/5/margin_share": 0.1,
    "/prices/5/discount_share": 0.1,
    "/starts/L1/100": 150,
    "/starts/lens/25": 27,
    "/operations/L1-polish-front-block/batch_min": 60,
    "/operations/L1-polish-front-block/batch_loss": 0.05,
    "/operations/L2-generate-back/yield": 0.9,
    "/operations/L2-saw/left_out": True,
    "/operations/L2+etching": {
        "value": {"work_centre": "clean bench", "setup_min": 10, "piece_min": 3, "after": "L2-core", "lot_charge": "20.00"}
    },
    "/blanks/L1/price": "10.00",
    "/bought_parts/bulk tray, places to 25 mm/lot_charge": "5.00",
    "/tooling/radius tool 47.3 mm/charge": "0",
}
"""One override of every kind there is."""


def _doublet() -> dict[str, Any]:
    """Two elements with an air gap, of one glass, so that they share a purchase."""
    lens = singlet(front_mm=47.3)
    second = copy.deepcopy(lens["elements"][0]) | {"name": "L2", "centre_thickness_mm": 7.0}
    return {"title": "two elements", "elements": [*lens["elements"], second], "spaces": [{"gap_mm": 4.0}]}


@cache
def rates() -> Rates:
    return seed_rates()


@cache
def sections() -> tuple[CheckReport, BlankPlan, OperationPlan]:
    """The sections of the stages before quoting, which know nothing of overrides."""
    return sections_of(request_of(_doublet(), QUANTITIES), rates())


def asked(overrides: Mapping[str, Any], **fields: Any) -> QuoteRequest:
    """The request with figures set, by pointer: a value, or an override with fields of its own."""
    listed = [
        {"pointer": pointer, **WHO, **(one if isinstance(one, dict) and "value" in one else {"value": one})}
        for pointer, one in overrides.items()
    ]
    return request_of(_doublet(), QUANTITIES, overrides=listed, **fields)


def plans(overrides: Mapping[str, Any], **fields: Any) -> Plans:
    """What the quantities are worked out from."""
    _, blanks, operations = sections()
    return plans_for(job_of(asked(overrides, **fields)), blanks, operations, rates())


def at(quantity: int, overrides: Mapping[str, Any], *, evened: bool = True) -> Evaluation:
    """One quantity worked out with figures set; each is worked out once."""
    return _at(quantity, json.dumps(overrides), evened)


@cache
def _at(quantity: int, listed: str, evened: bool) -> Evaluation:
    return evaluate(plans(json.loads(listed)), quantity=quantity, evened=evened)


def quoted(overrides: Mapping[str, Any], **fields: Any) -> QuoteBody:
    """The quote with figures set; each is made once."""
    return _quoted(json.dumps(overrides), json.dumps(fields))


@cache
def _quoted(listed: str, more: str) -> QuoteBody:
    overrides, fields = json.loads(listed), json.loads(more)
    report, blanks, operations = sections()
    return assemble(
        job=job_of(asked(overrides, **fields)), check=report, blanks=blanks, operations=operations, rates=rates(), rate_digest="chain"
    )  # fmt: skip


def explained(overrides: Mapping[str, Any], **fields: Any) -> tuple[ExplainedBreak, ...]:
    """Why the quantities of that quote cost what they do; each is explained once."""
    return _explained(json.dumps(overrides), json.dumps(fields))


@cache
def _explained(listed: str, more: str) -> tuple[ExplainedBreak, ...]:
    _, blanks, operations = sections()
    job = job_of(asked(json.loads(listed), **json.loads(more)))
    return explain(job=job, blanks=blanks, operations=operations, rates=rates()).breaks


def said_of(overrides: Mapping[str, Any]) -> OfOverrides:
    """What a quote says of figures set, without the rest of it."""
    settled, request = plans(overrides), asked(overrides)
    evaluations = [evaluate(settled, quantity=quantity) for quantity in QUANTITIES]
    return of_overrides(request.overrides, settled, evaluations, evaluations[1])


@cache
def usual_figures() -> Mapping[str, SettableFigure]:
    """Every figure of the worksheet by its pointer, with nothing set."""
    return {one.pointer: one for one in figures_with({})}


def figures_with(overrides: Mapping[str, Any]) -> tuple[SettableFigure, ...]:
    """Every figure of the worksheet with figures set."""
    _, blanks, operations = sections()
    return worksheet_figures(job=job_of(asked(overrides)), blanks=blanks, operations=operations, rates=rates())
