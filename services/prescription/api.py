"""Routes of prescription: check a lens at once, without a quote."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends

from services.chassis.keys import Caller
from services.chassis.web import answers, latest_rates, needs_role
from services.prescription import errors
from services.prescription.domain.check import check_prescription
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Prescription
from shared_schemas.problem import Explained
from shared_schemas.rates import RateRevision

router = APIRouter()

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    errors.PrescriptionError: (422, "invalid", "The prescription has values that cannot be"),
    errors.SurfaceEndsEarlier: (422, "invalid", "A surface ends before its aperture"),
    errors.WavelengthOutOfRange: (422, "invalid", "The wavelength is out of range"),
    errors.IndicationUnreadable: (422, "invalid", "An indication cannot be read"),
}


@router.post(
    "/v1/prescriptions/check",
    summary="Can this lens be made? Answered at once, without a quote",
    response_model=CheckReport,
    responses=answers("not-json", "invalid", "body-too-large"),
)
def check_now(
    prescription: Prescription,
    caller: Annotated[Caller, Depends(needs_role("sales", "engineer"))],
    revision: Annotated[RateRevision, Depends(latest_rates)],
) -> CheckReport:
    return check_prescription(prescription, revision.rates)
