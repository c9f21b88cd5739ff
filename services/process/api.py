"""Routes of process: the operation plan of a lens, by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Depends

from services.chassis.compute_slots import computes
from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import answers, latest_rates, needs_role
from services.optics.errors import OpticsError
from services.process import errors
from services.process.domain.plan import plan_operations
from services.shop.errors import ShopError
from shared_schemas.by_hand import OperationsByHand
from shared_schemas.operations import OperationPlan
from shared_schemas.problem import Explained
from shared_schemas.rates import RateRevision
from shared_schemas.traveller import Job, Refusal

router = APIRouter(route_class=CheckedRoute)

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    OpticsError: (422, "invalid", "The request has values that cannot be"),
    ShopError: (422, "rates", "The rates cannot answer this"),
    errors.ProcessError: (422, "invalid", "The request has values that cannot be"),
    errors.PlansDoNotMatch: (422, "invalid", "The plans are of another lens"),
    errors.OperationsRefused: (422, "refused", "The operations cannot be planned"),
}


@router.post(
    "/v1/operations/plan",
    summary="Plan the operations of a lens whose blanks are planned, by hand",
    dependencies=[Depends(needs_role("engineer"))],
    responses=answers("invalid", "not-json", "body-too-large", "refused", "rates"),
)
@computes
def plan_operations_by_hand(asked: OperationsByHand, revision: Annotated[RateRevision, Depends(latest_rates)]) -> OperationPlan:
    """Route cards with minutes and losses, what is bought, which tools are missing, and a picture of each block."""
    job = Job(number="by-hand", attempt=0, request=asked.request, rate_revision=revision.number, quoted_on=datetime.now(UTC).date())
    planned = plan_operations(job=job, check=asked.check, blanks=asked.blanks, rates=revision.rates, pictures=True)
    if isinstance(planned, Refusal):
        raise errors.OperationsRefused(planned)
    return planned
