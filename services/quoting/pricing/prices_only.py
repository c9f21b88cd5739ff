"""The prices and days of a quote at some rates, and nothing else: not what could be relaxed, offered or had sooner.

They are those that `assemble` comes to, by the same functions; a test holds one against the other.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from services.quoting.costs.money import in_currency
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.price import LEFT_OVER, sum_of
from services.quoting.pricing.quote import in_base, plans_for, refuse_other_lens
from services.quoting.risk.draws import risk_of
from shared_schemas.blanks import BlankPlan
from shared_schemas.load import LoadSnapshot
from shared_schemas.operations import OperationPlan
from shared_schemas.quote import middle_quantity
from shared_schemas.rate_impact import RatedBreak, RatedQuote
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job


def prices_of(
    *, job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates, kept: Mapping[int, Decimal], load: LoadSnapshot | None = None
) -> RatedQuote:  # fmt: skip
    """Every quantity of a job at these rates; `kept` are the total prices that are held against its cost, in the currency of the quote.

    Raises what `assemble` raises.
    """
    rates = rates.in_order
    refuse_other_lens(blanks, operations, rates)
    plans = plans_for(job, blanks, operations, rates, load)
    evaluations = {quantity: evaluate(plans, quantity=quantity) for quantity in job.request.quantities}
    tools = evaluations[middle_quantity(job.request.quantities)].made.tooling
    return RatedQuote(
        currency=job.request.currency,
        breaks=tuple(_break(evaluation, kept.get(quantity), plans) for quantity, evaluation in evaluations.items()),
        tooling=sum((in_currency(tool.charge, plans.currency) for tool in tools), Decimal(0)),
    )


def _break(evaluation: Evaluation, kept: Decimal | None, plans: Plans) -> RatedBreak:
    price, days = evaluation.price, evaluation.lead_time
    held = price.total if kept is None else kept
    return RatedBreak(
        quantity=evaluation.quantity,
        unit_price=price.unit,
        total_price=price.total,
        unit_cost=in_currency(evaluation.unit_cost, plans.currency),
        paid=sum_of([line for line in price.lines if line.kind not in LEFT_OVER]),
        p50_days=days.p50_days,
        p90_days=days.p90_days,
        loss_chance=risk_of(evaluation.chances, plans.orders, price=in_base(held, evaluation.made, plans)).loss_chance,
    )


def prices_as_issued(body: bytes) -> RatedQuote:
    """The same figures of a quote as it was issued. Of a document of a megabyte only these few are looked at."""
    quote = json.loads(body)
    return RatedQuote(
        currency=quote["currency"],
        breaks=tuple(_as_issued(one) for one in quote["breaks"]),
        tooling=sum((Decimal(tool["charge"]) for tool in quote["tooling"]), Decimal(0)),
    )


def _as_issued(one: Mapping[str, Any]) -> RatedBreak:
    return RatedBreak(
        quantity=one["quantity"],
        unit_price=one["unit_price"],
        total_price=one["total_price"],
        unit_cost=one["unit_cost"]["planned"],
        paid=sum((Decimal(line["amount"]) for line in one["lines"] if line["kind"] not in LEFT_OVER), Decimal(0)),
        p50_days=one["lead_time"]["p50_days"],
        p90_days=one["lead_time"]["p90_days"],
        loss_chance=one.get("loss_chance"),
    )
