"""The explanation of a quote: why each quantity costs and takes what it does."""

from __future__ import annotations

from services.quoting.explain.basis import basis_of
from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.quote import plans_for
from shared_schemas.blanks import BlankPlan
from shared_schemas.operations import OperationPlan
from shared_schemas.quote import ExplainedBreak, Explanation
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job


def explain(*, job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates) -> Explanation:
    """Why each quantity costs and takes what it does: the same work again, as stages are deterministic, with its reasons."""
    plans = plans_for(job, blanks, operations, rates)
    return Explanation(
        breaks=tuple(
            ExplainedBreak(quantity=quantity, figures=basis_of(evaluate(plans, quantity=quantity), plans))
            for quantity in job.request.quantities
        )
    )
