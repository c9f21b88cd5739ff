"""Routes of prescriptions: check one at once, without a quote; what every finding of a check means."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Response

from services.chassis.keys import Caller
from services.chassis.web import answers, latest_rates, needs_role
from services.optics.errors import OpticsError
from services.prescription.domain.check import check_prescription
from services.prescription.domain.findings import finding_kinds
from services.prescription.findings_page import HTML, likes_html, page_of
from services.shop.errors import ShopError
from shared_schemas.check import CheckReport, FindingKindList
from shared_schemas.prescription import Prescription
from shared_schemas.problem import Explained
from shared_schemas.rates import RateRevision

router = APIRouter()

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    OpticsError: (422, "invalid", "The request has values that cannot be"),
    ShopError: (422, "rates", "The rates cannot answer this"),
}

SalesOrEngineer = Annotated[Caller, Depends(needs_role("sales", "engineer"))]
AS_A_PAGE: dict[int | str, dict[str, Any]] = {
    200: {"description": "Every kind of finding", "content": {HTML: {"schema": {"type": "string"}}}}
}


@router.get(
    "/v1/prescriptions/findings",
    summary="Every finding that a check can make: code, severity, meaning and source",
    response_model=FindingKindList,
    responses={**AS_A_PAGE, **answers()},
)
def list_finding_kinds(
    caller: SalesOrEngineer,
    accept: Annotated[str, Header(description="application/json, or text/html for a page to read.")] = "application/json",
) -> FindingKindList | Response:
    """The list is made from the code that finds, so it is complete; JSON, or a page when the caller likes HTML better."""
    kinds = finding_kinds()
    if likes_html(accept):
        return Response(page_of(kinds), media_type=HTML, headers={"Vary": "Accept"})
    return FindingKindList(items=kinds)


@router.post(
    "/v1/prescriptions/check",
    summary="Check a prescription at once, without a quote",
    responses=answers("invalid", "not-json", "body-too-large", "rates"),
)
def check_at_once(
    prescription: Prescription,
    revision: Annotated[RateRevision, Depends(latest_rates)],
    caller: SalesOrEngineer,
) -> CheckReport:
    """Whether the lens can be made, its first order, each element and every finding; a lens that cannot be made is a report too."""
    return check_prescription(prescription, revision.rates)
