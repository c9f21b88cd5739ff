"""Routes of what-ifs: copies of a quote in which something is changed, worked out beside it without a revision."""

from __future__ import annotations

from fastapi import APIRouter, Response
from starlette.concurrency import run_in_threadpool

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.quoting.api.parts import How, Now, SalesOrEngineer, accepting, answer, finished_answers
from services.quoting.service import cancel
from services.quoting.service.what_if import accept_what_if, what_if_document
from services.quoting.store.what_ifs import WhatIfStore
from shared_schemas.what_if import WhatIf, WhatIfAccepted, WhatIfRequest

router = APIRouter(route_class=CheckedRoute)

PATH = "/v1/what-ifs/{number}"


@router.post(
    "/v1/quotes/{number}/what-if",
    status_code=202,
    summary="Work out copies of a quote in which something is changed, beside each other and without a revision",
    response_model=WhatIfAccepted,
    responses={
        **answers("not-json", "invalid", "body-too-large", "not-found", "conflict", "too-much-work", "too-often", "queue-full"),
        **finished_answers(WhatIf),
    },
)
async def request_what_if(number: str, asked: WhatIfRequest, caller: SalesOrEngineer, tools: Tools, now: Now, how: How) -> Response:
    what_if, is_new = await accepting(
        accept_what_if,
        number,
        asked,
        caller=caller.key_id,
        label=caller.label,
        idempotency_key=how.idempotency_key,
        trace=how.trace,
        now=now,
        resources=tools,
    )
    place = PATH.format(number=what_if)
    runs = WhatIfStore(tools.database).runs
    done = await run_in_threadpool(runs.is_finished, what_if)
    accepted = WhatIfAccepted(number=what_if, status="done" if done else "working", copies=len(asked.copies), links={"self": place})
    return await answer(
        accepted=accepted,
        place=place,
        is_new=is_new,
        how=how,
        is_done=lambda: runs.is_finished(what_if),
        outcome=lambda: what_if_document(what_if, tools).model_dump_json().encode(),
    )


@router.get(
    PATH,
    summary="The quote as it was issued, and each copy of it beside that",
    response_model=WhatIf,
    responses=answers("not-found", "invalid"),
)
def get_what_if(number: str, caller: SalesOrEngineer, tools: Tools) -> WhatIf:
    return what_if_document(number, tools)


@router.delete(
    PATH,
    summary="Work out no more copies of a what-if",
    response_model=WhatIf,
    responses=answers("not-found", "invalid"),
)
def cancel_what_if(number: str, caller: SalesOrEngineer, tools: Tools, now: Now) -> WhatIf:
    cancel.cancel_what_if(number, caller=caller, now=now, resources=tools)
    return what_if_document(number, tools)
