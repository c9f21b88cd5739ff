"""Routes of the seller's letterhead."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Request, Response
from starlette.concurrency import run_in_threadpool
from werkzeug.http import parse_etags

from services.chassis.json_bodies import CheckedRoute
from services.chassis.keys import Caller
from services.chassis.negotiation import is_known
from services.chassis.refusals import Refused
from services.chassis.web import Tools, answers, needs_role
from services.quoting.api.parts import Now, Sales
from services.quoting.service.letterhead import change_letterhead, change_logo, letterhead_in_force, tag_of
from services.quoting.store.letterheads import LetterheadStore
from shared_schemas.letterhead import KeptLetterhead, Letterhead

router = APIRouter(route_class=CheckedRoute)
Admin = Annotated[Caller, Depends(needs_role())]
IfMatch = Annotated[str | None, Header(description="The ETag of the letterhead that you changed; left out for the first one.")]
PICTURES: dict[str, Any] = {kind: {"schema": {"type": "string", "format": "binary"}} for kind in ("image/png", "image/jpeg")}
SENT = ("not-found", "body-too-large", "stale", "if-match-missing", "invalid")


@router.get(
    "/v1/letterhead",
    summary="What the seller's paper says on every offer; its ETag goes back with a change",
    response_model=KeptLetterhead,
    responses={304: {"description": "It is as you have it"}, **answers("not-found")},
)
def get_letterhead(
    caller: Sales, tools: Tools, if_none_match: Annotated[str | None, Header(description="The ETag of what you have.")] = None
) -> Response:
    kept = letterhead_in_force(tools)
    if is_known(if_none_match, tag_of(kept)):
        return Response(status_code=304, headers=_headers(kept))
    return _answer(kept)


@router.put(
    "/v1/letterhead",
    summary="Change the seller's letterhead; its logo stays. Needs If-Match, where there is one",
    response_model=KeptLetterhead,
    responses=answers("not-json", *SENT),
)
def put_letterhead(asked: Letterhead, caller: Admin, tools: Tools, now: Now, if_match: IfMatch = None) -> Response:
    tags = frozenset() if if_match is None else _tags(if_match)
    if not tags:
        _refuse_unread(tools)
    return _answer(change_letterhead(asked, tags=tags, key_id=caller.key_id, now=now, resources=tools))


@router.put(
    "/v1/letterhead/logo",
    summary="Put another logo on the letterhead: a PNG or JPEG of at most 512 KiB. Needs If-Match",
    response_model=KeptLetterhead,
    responses=answers(*SENT),
    openapi_extra={"requestBody": {"required": True, "content": PICTURES}},
)
async def put_logo(http: Request, caller: Admin, tools: Tools, now: Now, if_match: IfMatch = None) -> Response:
    tags, content = _tags(if_match or ""), await http.body()
    if not tags:
        raise Refused("if-match-missing", "The logo needs the header If-Match with the ETag that reading the letterhead gave.")
    kept = await run_in_threadpool(change_logo, content, tags=tags, key_id=caller.key_id, now=now, resources=tools)
    return _answer(kept)


def _refuse_unread(tools: Tools) -> None:
    """Raise `Refused` where there is a letterhead, which whoever changes it has to have read."""
    if LetterheadStore(tools.database).newest() is not None:
        detail = "Changing the letterhead needs the header If-Match with the ETag that reading it gave."
        raise Refused("if-match-missing", detail)


def _tags(if_match: str) -> frozenset[str]:
    return frozenset(parse_etags(if_match).as_set())


def _headers(kept: KeptLetterhead) -> dict[str, str]:
    return {"ETag": f'"{tag_of(kept)}"', "Cache-Control": "private, no-cache"}


def _answer(kept: KeptLetterhead) -> Response:
    return Response(kept.model_dump_json(), media_type="application/json", headers=_headers(kept))
