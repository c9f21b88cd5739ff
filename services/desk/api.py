"""Route of the desk: a table, file or letter of a customer is read; what is assumed is confirmed, and becomes a quote."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from typing import Annotated, Any, TypeVar

from anyio import CapacityLimiter, to_thread
from fastapi import APIRouter, Depends, Header, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError

from services.chassis.between_services import client_of
from services.chassis.checks import Check
from services.chassis.compute_slots import ComputeSlots
from services.chassis.json_bodies import CheckedRoute, document_of
from services.chassis.keys import Caller
from services.chassis.negotiation import media_type_of
from services.chassis.refusals import Refused
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers, needs_role
from services.desk import errors
from services.desk.drafts.asking import AnsweredElsewhere, Asking
from services.desk.drafts.digest import refuse_another
from services.desk.drafts.look_over import look_over
from services.desk.drafts.reading import content_of, read, with_digest
from services.desk.pages import routes
from shared_schemas.base import NO_CONTROLS
from shared_schemas.intake import MOST_BYTES, IntakeDraft, IntakeRequest, Question
from shared_schemas.problem import Explained, ProblemDetail
from shared_schemas.quote import QuoteAccepted

router = APIRouter(route_class=CheckedRoute)
router.include_router(routes.router)

PATH = "/v1/intake"
JSON = "application/json"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
TEXTS = ("text/csv", "text/tab-separated-values", "text/plain")
RAW = (*TEXTS, XLSX)
NAMES = {"text/csv": "table.csv", "text/tab-separated-values": "table.tsv", "text/plain": "what was pasted", XLSX: "workbook.xlsx"}
"""What a body without a name is called, by its kind."""

LARGER_BODIES = {PATH: 6 * 2**20, **routes.LARGER_BODIES}
"""A file of 4 MiB in base64, with its answers."""

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    errors.DeskError: (422, "invalid", "What was sent cannot be read"),
    errors.FileUnreadable: (422, "invalid", "What was sent cannot be read"),
    errors.AnswersUnusable: (422, "invalid", "There are answers that will not do"),
    errors.DraftIsAnother: (409, "conflict", "The draft is another now"),
    errors.DraftIncomplete: (409, "conflict", "There are open questions"),
    errors.PartAway: (503, "unavailable", "A part of the suite does not answer"),
    errors.ReadingBroke: (500, "internal", "Something unforeseen broke"),
}

T = TypeVar("T")
MOST_READING = 8
_reading = CapacityLimiter(MOST_READING)
"""Whoever reads asks other services, which may be routes of this very process and need threads too."""

Sales = Annotated[Caller, Depends(needs_role("sales"))]
OF_RAW = "For a body that is no JSON; one in JSON says it itself."


def the_time() -> datetime:
    """The moment of a request; a test puts another in its place."""
    return datetime.now(UTC)


Now = Annotated[datetime, Depends(the_time)]


def _away(part: str, resources: Resources) -> str | None:
    """Whether a service that the desk asks answers; one that this process serves itself is not asked."""
    settings = resources.settings
    if part in settings.services:
        return None
    origin = {"quoting": settings.quoting_url, "prescription": settings.check_url}[part]
    answer = client_of(origin, settings.service_key.get_secret_value()).get("/livez")
    return None if answer.status_code == 200 else f"answered {answer.status_code}"


CHECKS = (
    Check("quoting", partial(_away, "quoting"), needed=False, kept_s=10.0),
    Check("prescription", partial(_away, "prescription"), needed=False, kept_s=10.0),
)
"""Without them no quote is asked for, or nothing is checked; the answer to a request says so itself."""


@router.post(
    PATH,
    summary="Read a table, file or letter of a customer: a draft with what was assumed and what is asked; confirmed, it becomes a quote",
    response_model=IntakeDraft,
    responses={
        202: {"model": QuoteAccepted, "description": "The draft was confirmed, and its quote is asked for"},
        **answers("not-json", "invalid", "body-too-large", "unsupported-media-type", "conflict", "rates", "busy", "queue-full"),
    },
    openapi_extra={"requestBody": {"required": True, "content": {
        JSON: {"schema": IntakeRequest.model_json_schema()},
        **{kind: {"schema": {"type": "string"}} for kind in TEXTS},
        XLSX: {"schema": {"type": "string", "format": "binary"}}}}},
)  # fmt: skip
async def read_intake(
    http: Request,
    caller: Sales,
    tools: Tools,
    now: Now,
    content_type: Annotated[str, Header()] = JSON,
    authorization: Annotated[str, Header(include_in_schema=False)] = "",
    idempotency_key: Annotated[
        str | None, Header(min_length=1, max_length=200, description="Your own name for this request, when it confirms.")
    ] = None,
    name: Annotated[str | None, Query(min_length=1, max_length=200, pattern=NO_CONTROLS, description=f"What the file is called. {OF_RAW}")] = None,
    sheet: Annotated[str | None, Query(max_length=100, pattern=NO_CONTROLS, description=f"The sheet of a workbook. {OF_RAW}")] = None,
    answer: Annotated[list[str] | None, Query(max_length=500, description=f"An answer as NAME=VALUE, once for each. {OF_RAW}")] = None,
    confirm: Annotated[str | None, Query(pattern=r"^[0-9a-f]{64}$", description=f"The digest of the draft that becomes the quote. {OF_RAW}")] = None,
) -> Response:  # fmt: skip
    """Nothing is kept: what was sent comes again with the answers, and with the `digest` of the draft in `confirm` to make the quote.

    The quote is asked for with the key that came with this request, and with its Idempotency-Key.
    """
    asked, content = _asked(media_type_of(content_type), await http.body(), name, sheet, answer or [], confirm)
    slots: ComputeSlots = http.app.state.slots
    async with slots.turn(caller.key_id):
        draft = await _in_thread(read, asked, content)
    asking = Asking(tools.settings, authorization, idempotency_key)
    try:
        revision = await _in_thread(tools.rates.latest)
        draft = await _in_thread(
            look_over, draft, asked.answers, rates=revision.rates, check=asking.check, today=now.date()
        )  # fmt: skip
        draft = with_digest(draft, asked, content)
        if asked.confirm is None:
            return Response(draft.model_dump_json(), media_type=JSON)
        return await _in_thread(_confirmed, draft, asked.confirm, asking)
    except AnsweredElsewhere as refusal:
        return refusal.response()


def _confirmed(draft: IntakeDraft, confirm: str, asking: Asking) -> Response:
    """The quote of a draft that was confirmed. Raises `DraftIncomplete` or `DraftIsAnother`."""
    if draft.request is None:
        raise errors.DraftIncomplete(*map(_open_question, draft.questions))
    refuse_another(confirm, draft)
    return asking.quote(draft.request)


def _open_question(question: Question) -> ProblemDetail:
    would_do = " or ".join(choice.answer for choice in question.choices)
    return ProblemDetail(
        pointer=f"/answers/{question.name}", reason=question.asks, figure=question.figure, remedy=would_do or "an answer"
    )


def _asked(
    kind: str, body: bytes, name: str | None, sheet: str | None, given: list[str], confirm: str | None
) -> tuple[IntakeRequest, bytes]:
    """What is asked, and the content that is to be read."""
    if kind == JSON:
        asked = _held(document_of(body), "body")
        return asked, content_of(asked)
    if kind not in RAW:
        detail = f"A table is sent as {', '.join((JSON, *RAW))}, not as {kind[:60] or 'nothing'}."
        raise Refused("unsupported-media-type", detail, Accept=", ".join((JSON, *RAW)))
    if len(body) > MOST_BYTES:
        raise Refused("body-too-large", f"The file has {len(body)} bytes; at most {MOST_BYTES} are read.")
    unreadable = [one for one in given if "=" not in one.strip("=")]
    if unreadable:
        raise errors.AnswersUnusable(
            *(ProblemDetail(pointer="/query/answer", reason="it is not NAME=VALUE", figure=one[:60]) for one in unreadable)
        )
    pairs = {one.partition("=")[0].strip(): one.partition("=")[2].strip() for one in given}
    said = {"name": name or NAMES[kind], "sheet": sheet, "answers": pairs, "confirm": confirm}
    # The body is read as bytes: text of any encoding comes as text/csv. A placeholder stands where JSON has it.
    return _held({**said, "text": ""}, "query").model_copy(update={"text": None}), body


def _held(document: Any, source: str) -> IntakeRequest:
    try:
        return IntakeRequest.model_validate(document)
    except ValidationError as fault:
        found = [{**error, "loc": (source, *error["loc"])} for error in fault.errors()]
        raise RequestValidationError(found, body=document) from fault


async def _in_thread(work: Callable[..., T], *given: Any, **named: Any) -> T:
    return await to_thread.run_sync(partial(work, *given, **named), limiter=_reading)
