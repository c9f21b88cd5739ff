"""Route of prescriptions: check one at once, without a quote."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends

from services.chassis.compute_slots import computes
from services.chassis.json_bodies import CheckedRoute
from services.chassis.keys import Caller
from services.chassis.web import answers, latest_rates, needs_role
from services.optics.errors import OpticsError
from services.prescription.domain import check
from services.shop.errors import ShopError
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Prescription
from shared_schemas.problem import Explained
from shared_schemas.rates import RateRevision

router = APIRouter(route_class=CheckedRoute)

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    OpticsError: (422, "invalid", "The request has values that cannot be"),
    ShopError: (422, "rates", "The rates cannot answer this"),
}

SalesOrEngineer = Annotated[Caller, Depends(needs_role("sales", "engineer"))]


@router.post(
    "/v1/prescriptions/check",
    summary="Check a prescription at once, without a quote",
    responses=answers("invalid", "not-json", "body-too-large", "rates"),
)
@computes
def check_prescription(
    prescription: Prescription,
    revision: Annotated[RateRevision, Depends(latest_rates)],
    caller: SalesOrEngineer,
) -> CheckReport:
    """Whether the lens can be made, its first order, each element and every finding; a lens that cannot be made is a report too."""
    return check.check_prescription(prescription, revision.rates, with_basis=True)
