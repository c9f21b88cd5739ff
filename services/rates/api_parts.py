"""What the routes of rates share: who may, and how a table is read from a body in JSON or CSV."""

from __future__ import annotations

import json
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Header, Path, Query, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ValidationError
from werkzeug.http import parse_etags

from services.chassis.json_bodies import document_of, refuse_turned_text
from services.chassis.keys import Caller
from services.chassis.negotiation import media_type_of, quality
from services.chassis.refusals import Refused
from services.chassis.web import needs_role
from services.rates import errors
from services.rates.domain.csv_dialect import decoded
from services.rates.domain.table_csv import rows_from_csv, rows_to_csv, validated_rows
from services.rates.store.statements import StoredTable
from shared_schemas.rates import TABLES, ProposedRows, RateRow

Engineer = Annotated[Caller, Depends(needs_role("engineer"))]
EngineerOrSuite = Annotated[Caller, Depends(needs_role("engineer", "service"))]
OPEN_TO_ERP = ("work_centres", "operations")
TableReader = Annotated[Caller, Depends(needs_role("engineer", "service", tables_of={"erp": OPEN_TO_ERP}))]
"""Who reads a table: an ERP needs to know where work is done and which steps the shop has of its own, and no price of glass."""
JSON, CSV = "application/json", "text/csv"

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Table = Annotated[str, Path(description="One of: " + ", ".join(TABLES) + ".")]
IfMatch = Annotated[str | None, Header(description="The ETag of what you changed; * will not do.")]
IfNoneMatch = Annotated[str | None, Header(description="The ETag of what you have.")]
Cursor = Annotated[str | None, Query(max_length=100, description="The `next` of the page before.")]
CONFIRM = "The code of a second look that is meant so, as the refusal named it; may be given several times."
AS_YOU_HAVE_IT: dict[int | str, dict[str, Any]] = {304: {"description": "It is as you have it"}}
ASK_AGAIN = "private, no-cache"
"""A table may be kept, and is asked for again with If-None-Match before each use."""

Document = TypeVar("Document", bound=BaseModel)


def kind_of(content_type: str) -> str:
    """The media type that a Content-Type header names; raises `Refused` for one that no table comes in."""
    kind = media_type_of(content_type)
    if kind not in (JSON, CSV):
        said = f"A table is sent as {JSON} or {CSV}, not as {kind[:60] or 'nothing'}."
        raise Refused("unsupported-media-type", said, Accept=f"{JSON}, {CSV}")
    return kind


def read_rows(table: str, body: bytes, content_type: str, before: bytes = b"[]") -> tuple[RateRow, ...]:
    """The rows of a body, from JSON or CSV, that are to replace those of `before`; raises `TableUnreadable` naming every wrong cell."""
    if kind_of(content_type) == CSV:
        text = decoded(table, body)
        refuse_turned_text(text, "/rows")
        return rows_from_csv(table, text, json.loads(before))
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


def tags_in(if_match: str | None, what: str) -> frozenset[str]:
    """The ETags of a header If-Match; raises `Refused` without one, `IfMatchUnreadable` for one that cannot be compared."""
    if if_match is None or if_match.strip() in ("", "*"):
        raise Refused("if-match-missing", f"{what} needs the header If-Match with the ETag that reading it gave.")
    # A weak tag never matches here (RFC 9110, 13.1.1); one without quotes is none, though the parser takes it.
    seen = frozenset(tag for tag in parse_etags(if_match).as_set() if f'"{tag}"' in if_match)
    if not seen:
        raise errors.IfMatchUnreadable(if_match)
    return seen


def wanted(accept: str) -> str:
    """The representation that a caller likes best, JSON when it likes both the same; raises `Refused` when it takes neither."""
    best = max((JSON, CSV), key=lambda kind: quality(accept, kind))
    if quality(accept, best) <= 0:
        raise Refused("not-acceptable", f"A table can be had as {JSON} or {CSV}.")
    return best


def headers_of(found: StoredTable) -> dict[str, str]:
    return {"ETag": f'"{found.digest}"', "Vary": "Accept", "Cache-Control": ASK_AGAIN, "X-Rate-Revision": str(found.revision),
            "X-Rows-Dropped": str(len(found.dropped))}  # fmt: skip


def shown_table(found: StoredTable, kind: str) -> Response:
    if kind == CSV:
        rows = validated_rows(found.table, json.loads(found.rows))
        return Response(rows_to_csv(found.table, rows), media_type=CSV, headers=headers_of(found))
    head: dict[str, Any] = {"table": found.table, "revision": found.revision}
    head |= {"dropped": found.dropped} if found.dropped else {}
    return Response(json.dumps(head)[:-1].encode() + b',"rows":' + found.rows + b"}", media_type=JSON, headers=headers_of(found))
