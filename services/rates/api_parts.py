"""What the routes of rates share: who may, and how a table is read from a body in JSON or CSV."""

from __future__ import annotations

from typing import Annotated, TypeVar

from fastapi import Depends
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ValidationError

from services.chassis.json_bodies import document_of, refuse_turned_text
from services.chassis.keys import Caller
from services.chassis.negotiation import media_type_of
from services.chassis.refusals import Refused
from services.chassis.web import needs_role
from services.rates import errors
from services.rates.domain.table_csv import rows_from_csv, validated_rows
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import ProposedRows, RateRow

Engineer = Annotated[Caller, Depends(needs_role("engineer"))]
EngineerOrSuite = Annotated[Caller, Depends(needs_role("engineer", "service"))]
OPEN_TO_ERP = ("work_centres", "operations")
TableReader = Annotated[Caller, Depends(needs_role("engineer", "service", tables_of={"erp": OPEN_TO_ERP}))]
"""Who reads a table: an ERP needs to know where work is done and which steps the shop has of its own, and no price of glass."""
JSON, CSV = "application/json", "text/csv"

Document = TypeVar("Document", bound=BaseModel)


def kind_of(content_type: str) -> str:
    """The media type that a Content-Type header names; raises `Refused` for one that no table comes in."""
    kind = media_type_of(content_type)
    if kind not in (JSON, CSV):
        said = f"A table is sent as {JSON} or {CSV}, not as {kind[:60] or 'nothing'}."
        raise Refused("unsupported-media-type", said, Accept=f"{JSON}, {CSV}")
    return kind


def read_rows(table: str, body: bytes, content_type: str) -> tuple[RateRow, ...]:
    """The rows of a body, from JSON or CSV; raises `TableUnreadable` naming every wrong cell."""
    if kind_of(content_type) == CSV:
        return rows_from_csv(table, _decoded(table, body))
    return validated_rows(table, read_document(ProposedRows, body, content_type).rows)


def read_document(kind: type[Document], body: bytes, content_type: str) -> Document:
    """A JSON body as that contract; raises what is answered as any other body that cannot be read."""
    kind_of(content_type)
    document = document_of(body)
    try:
        return kind.model_validate(document)
    except ValidationError as fault:
        found = [{**error, "loc": ("body", *error["loc"])} for error in fault.errors()]
        raise RequestValidationError(found, body=document) from fault


def _decoded(table: str, body: bytes) -> str:
    """The text of a CSV body, with or without a byte order mark."""
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = body.count(b"\n", 0, fault.start) + 1
        detail = ProblemDetail(pointer="/rows", reason=f"line {line} is not UTF-8", remedy="save the CSV as UTF-8")
        raise errors.TableUnreadable(table, [detail]) from fault
    refuse_turned_text(text, "/rows")
    return text
