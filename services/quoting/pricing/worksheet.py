"""The figures of a worksheet out of the plans of the stages before, by the same arithmetic as the quote."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.overridden.figures import figures_of_worksheet
from services.quoting.pricing.quote import plans_for, refuse_other_lens
from shared_schemas.blanks import BlankPlan
from shared_schemas.load import LoadSnapshot
from shared_schemas.operations import OperationPlan
from shared_schemas.overrides import SettableFigure
from shared_schemas.quote import middle_quantity
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job


def worksheet_figures(
    *, job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates, load: LoadSnapshot | None = None
) -> tuple[SettableFigure, ...]:
    """Every figure that may be set, with the one that counts under the overrides of the job's request and the one without.

    Raises what `assemble` raises.
    """
    rates = rates.in_order
    refuse_other_lens(blanks, operations, rates)
    plans = plans_for(job, blanks, operations, rates, load)
    quantities = job.request.quantities
    evaluations = [evaluate(plans, quantity=quantity) for quantity in quantities]
    return figures_of_worksheet(plans, evaluations, evaluations[quantities.index(middle_quantity(quantities))])


def bases(
    *, job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates, pointers: Iterable[str], load: LoadSnapshot | None = None
) -> dict[str, Any]:  # fmt: skip
    """What would stand at each pointer if nothing were set there, with all other overrides of the request; `None` for an extra operation.

    A pointer at which the worksheet has no figure is left out. Raises what `assemble` raises.
    """
    figures = worksheet_figures(job=job, blanks=blanks, operations=operations, rates=rates, load=load)
    known = {figure.pointer: figure.worked_out for figure in figures}
    return {pointer: known[pointer] for pointer in pointers if pointer in known}
