"""What the routes of orders have in common: who asks, what they are given, and when."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import Depends, Path, Query

from services.chassis.keys import Caller
from services.chassis.web import needs_role
from shared_schemas.base import NO_CONTROLS

Reader = Annotated[Caller, Depends(needs_role("engineer", "erp", "sales"))]
ReaderOrSuite = Annotated[Caller, Depends(needs_role("engineer", "erp", "sales", "service"))]
Planner = Annotated[Caller, Depends(needs_role("engineer", "erp"))]
SalesOrErp = Annotated[Caller, Depends(needs_role("sales", "erp"))]
Engineer = Annotated[Caller, Depends(needs_role("engineer"))]
Suite = Annotated[Caller, Depends(needs_role("service"))]
Erp = Annotated[Caller, Depends(needs_role("erp"))]
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
OrderNumber = Annotated[str, Path(max_length=60, pattern=NO_CONTROLS, description="The number of the quote that was accepted.")]
Most = Annotated[int, Query(ge=1, le=200, description="Entries on a page.")]
Cursor = Annotated[str | None, Query(max_length=100, description="The `next` of the page before.")]
JSON, SVG, CSV = "application/json", "image/svg+xml", "text/csv"


def the_time() -> datetime:
    """The moment of a request; a test puts another in its place."""
    return datetime.now(UTC)


Now = Annotated[datetime, Depends(the_time)]
