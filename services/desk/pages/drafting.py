"""What was pasted or dropped, as a draft to look at: read and looked over as by `/v1/intake`, and asked for once it is confirmed."""

from __future__ import annotations

import base64
import json
import secrets
from collections.abc import Mapping
from datetime import date
from threading import BoundedSemaphore
from typing import Any

from fastapi import Response

from services.chassis.rate_source import RatesUnavailable
from services.client import Client
from services.client.errors import ServerRefused, ServerUnreachable
from services.desk.drafts.digest import refuse_another
from services.desk.drafts.look_over import CheckRefused, look_over
from services.desk.drafts.reading import content_of, read, with_digest
from services.desk.errors import DeskError, DraftIsAnother, PartAway
from services.desk.pages.lens_picture import lens_picture
from services.desk.pages.typed import as_contract, quantities_in
from services.desk.pages.visits import Visit
from services.desk.pages.wording import taken
from shared_schemas.check import CheckReport
from shared_schemas.intake import IntakeDraft, IntakeRequest
from shared_schemas.prescription import Prescription

ANSWER, OTHER = "answer.", "other."
_reading = BoundedSemaphore(2)
"""So many files are read at once; the others wait for their turn, as a long one takes seconds of a processor."""

BESIDE = ("customer", "reference", "contact", "quantities", "needed_by", "currency")
"""What may be said beside the table."""


def drafted_page(visit: Visit, *, today: date) -> Response:
    """The draft of what was sent, or, where it is confirmed, the way to its quote."""
    try:
        asked = _asked(visit)
        with visit.quoting() as quoting:
            checked = _Checked(quoting, visit)
            content = content_of(asked)
            with _reading:
                draft = read(asked, content)
            draft = look_over(draft, asked.answers, rates=_rates(visit), check=checked.check, today=today)
            draft = with_digest(draft, asked, content)
            if asked.confirm and draft.request is not None:
                refuse_another(asked.confirm, draft)
                accepted = quoting.request_quote(draft.request, idempotency_key=visit.typed.get("asked_as") or None)
                return Response(status_code=303, headers={"Location": f"/quotes/{accepted.number}"})
            return _page(
                visit, asked, draft, lens_picture(quoting, draft.request.prescription if draft.request else None, checked.report)
            )
    except DraftIsAnother as fault:
        return start_page(visit, status=409, fault=fault)
    except ServerRefused as fault:
        return start_page(visit, status=fault.status, fault=fault)
    except (ServerUnreachable, RatesUnavailable):
        return start_page(visit, status=503, fault=PartAway("check or rates"))
    except DeskError as fault:
        return start_page(visit, status=422, fault=fault)


def start_page(visit: Visit, *, status: int = 200, fault: Any = None, beside: Mapping[str, Any] | None = None) -> Response:
    """Where a table is pasted; with what was typed, where something is wrong with it."""
    typed = {name: visit.typed.get(name, "") for name in ("text", *BESIDE)}
    return visit.page("start.html", status=status, typed=typed, fault=fault, **(beside or {"attention": (), "attention_fault": ""}))


class _Checked:
    """Asks the check for the look over the draft, and keeps what it said for the picture."""

    def __init__(self, quoting: Client, visit: Visit) -> None:
        self.report: CheckReport | None = None
        self._visit = visit

    def check(self, prescription: Prescription) -> CheckReport:
        """What the check says of a lens. Raises `CheckRefused` where it refuses a figure."""
        with self._visit.checking() as client:
            try:
                self.report = client.check(prescription)
            except ServerRefused as refusal:
                if refusal.status == 422 and any(error.pointer for error in refusal.problem.errors):
                    raise CheckRefused(refusal.problem.errors) from refusal
                raise
        return self.report


def _rates(visit: Visit) -> Any:
    return visit.tools.rates.latest().rates


def _asked(visit: Visit) -> IntakeRequest:
    """What a form asks to be read. Raises `AnswersUnusable`."""
    said = visit.typed
    asked = _beside(said)
    answers = {name.removeprefix(ANSWER): value for name, value in said.items() if name.startswith(ANSWER) and value}
    answers |= {name.removeprefix(OTHER): value.strip() for name, value in said.items() if name.startswith(OTHER) and value.strip()}
    document: dict[str, Any] = {"asked": asked, "answers": answers, "confirm": said.get("confirm") or None}
    if visit.file is not None:
        document |= {"name": visit.file.name, "content_base64": base64.b64encode(visit.file.content).decode()}
    elif said.get("content_base64"):
        document |= {"name": said.get("name") or "a file", "content_base64": said["content_base64"]}
    else:
        document |= {"text": said.get("text", "")}
    return as_contract(IntakeRequest, document)


def _beside(said: Mapping[str, str]) -> dict[str, Any]:
    """Fields of the request that were said beside the table. Raises `AnswersUnusable` for quantities that are none."""
    asked: dict[str, Any] = {name: said[name].strip() for name in BESIDE if said.get(name, "").strip()}
    if "quantities" in asked:
        asked["quantities"] = quantities_in(asked["quantities"])
    return asked


def _page(visit: Visit, asked: IntakeRequest, draft: IntakeDraft, picture: Any) -> Response:
    kept = {name: visit.typed.get(name, "") for name in BESIDE}
    if asked.content_base64 is not None:
        kept |= {"content_base64": asked.content_base64, "name": asked.name}
    else:
        kept |= {"text": asked.text or ""}
    named = {question.name for question in draft.questions}
    answered = {name: value for name, value in asked.answers.items() if name not in named}
    lens = draft.document.get("prescription") or {}
    return visit.page(
        "draft.html",
        draft=draft,
        assumptions=[taken(one) for one in draft.assumptions],
        kept=kept,
        answered=answered,
        given=asked.answers,
        lens=lens,
        spaces=lens.get("spaces") or [],
        picture=picture,
        beside={name: value for name, value in draft.document.items() if name not in ("prescription", "assumptions")},
        asked_as=visit.typed.get("asked_as") or secrets.token_hex(16),
        as_json=json.dumps,
    )
