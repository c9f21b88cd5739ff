"""Routes of glass: the blank plan of a lens, by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Depends

from services.chassis.compute_slots import computes
from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import answers, latest_rates, needs_role
from services.glass import errors
from services.glass.domain.buying.joint import buy_together
from services.glass.domain.plan import plan_blanks
from services.optics.errors import OpticsError
from services.shop.errors import ShopError
from shared_schemas.blanks import BlankPlan, JointPurchases
from shared_schemas.by_hand import BlanksByHand, BuyTogether
from shared_schemas.problem import Explained
from shared_schemas.rates import RateRevision
from shared_schemas.traveller import Job, Refusal

router = APIRouter(route_class=CheckedRoute)

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    OpticsError: (422, "invalid", "The request has values that cannot be"),
    ShopError: (422, "rates", "The rates cannot answer this"),
    errors.GlassError: (422, "invalid", "The request has values that cannot be"),
    errors.SizeImpossible: (422, "invalid", "The request has values that cannot be"),
    errors.StockFormIncomplete: (422, "rates", "The rates cannot answer this"),
    errors.CheckOfAnotherLens: (422, "invalid", "The check report is of another lens"),
    errors.BlanksForNoElement: (422, "invalid", "The request has values that cannot be"),
    errors.BlanksRefused: (422, "refused", "The blanks cannot be planned"),
}


@router.post(
    "/v1/blanks/plan",
    summary="Plan the blanks of a checked lens, by hand",
    dependencies=[Depends(needs_role("engineer"))],
    responses=answers("invalid", "not-json", "body-too-large", "refused", "rates"),
)
@computes
def plan_blanks_by_hand(asked: BlanksByHand, revision: Annotated[RateRevision, Depends(latest_rates)]) -> BlankPlan:
    """The blank of each element, what its glass costs for any number of blanks started, and a picture of each plate."""
    job = Job(number="by-hand", attempt=0, request=asked.request, rate_revision=revision.number, quoted_on=datetime.now(UTC).date())
    planned = plan_blanks(job=job, check=asked.check, rates=revision.rates, pictures=True)
    if isinstance(planned, Refusal):
        raise errors.BlanksRefused(planned.reasons)
    return planned


@router.post(
    "/v1/blanks/buy-together",
    summary="Buy the glass of several lenses together",
    dependencies=[Depends(needs_role("sales", "engineer"))],
    responses=answers("invalid", "not-json", "body-too-large", "refused", "rates"),
)
@computes
def buy_blanks_together(asked: BuyTogether, revision: Annotated[RateRevision, Depends(latest_rates)]) -> JointPurchases:
    """What the glass costs apart and together, what is bought, and what of it falls on each lens."""
    purchases = buy_together(lenses=asked.lenses, rates=revision.rates)
    if isinstance(purchases, Refusal):
        raise errors.BlanksRefused(purchases.reasons)
    return purchases
