"""Route of the catalogue of findings: every code with its meaning, as JSON or as a page to read."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.keys import Caller
from services.chassis.negotiation import quality
from services.chassis.pages import page_templates
from services.chassis.web import answers, needs_role
from shared_schemas.check import FindingKindList
from shared_schemas.finding_kinds import finding_kinds

router = APIRouter(route_class=CheckedRoute)

HTML = "text/html"
JSON = "application/json"
AnyRole = Annotated[Caller, Depends(needs_role("sales", "erp", "engineer"))]
AS_A_PAGE: dict[int | str, dict[str, Any]] = {
    200: {"description": "Every kind of finding", "content": {HTML: {"schema": {"type": "string"}}}}
}


@router.get(
    "/v1/findings",
    summary="Every finding that a check or a quote can make: code, severity, meaning, source and who reads it",
    response_model=FindingKindList,
    responses={**AS_A_PAGE, **answers()},
)
def list_finding_kinds(
    caller: AnyRole,
    accept: Annotated[str, Header(description="application/json, or text/html for a page to read.")] = JSON,
) -> FindingKindList | Response:
    """The catalogue that every finding is made from, so it is complete; JSON, or a page for a caller who prefers HTML."""
    kinds = finding_kinds()
    if prefers_html(accept):
        page = page_templates(__package__).get_template("findings.html").render(kinds=kinds)
        return Response(page, media_type=HTML, headers={"Vary": "Accept"})
    return FindingKindList(items=kinds)


def prefers_html(accept: str) -> bool:
    """Whether an Accept header asks for HTML rather than JSON; JSON when it likes both the same (RFC 9110, 12.5.1)."""
    return quality(accept, HTML) > quality(accept, JSON)
