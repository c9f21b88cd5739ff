"""What a confirmation confirms: one digest of four parts, so that whoever confirms what is no longer so can be told what differs."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from services.desk.errors import DraftIsAnother
from shared_schemas.intake import IntakeDraft, IntakeRequest
from shared_schemas.problem import ProblemDetail

PART = 16
"""Hexadecimal digits of each part. A caller confirms its own draft: nobody gains by another with the same digest."""

PARTS = (
    ("/content", "what was sent is another", "send what was read when the draft was made"),
    ("/answers", "the answers, or what was asked beside the file, are others", "send those that the draft was made with"),
    ("/request", "it reads as another request now", "look at the draft again, and confirm its digest"),
    ("/assumptions", "other things are assumed now", "look at the assumptions again, and confirm the digest of the draft"),
)


def digest_of(content: bytes, asked: IntakeRequest, draft: IntakeDraft) -> str:
    """The digest of a draft: of the content, what was said beside it, the request that it makes, and what was assumed in it."""
    beside = {"answers": asked.answers, "asked": asked.asked, "sheet": asked.sheet, "name": asked.name}
    request = draft.document if draft.request is None else draft.request.model_dump(mode="json")
    assumed = [one.model_dump(mode="json") for one in draft.assumptions]
    return "".join(hashlib.sha256(each).hexdigest()[:PART] for each in (content, _json(beside), _json(request), _json(assumed)))


def refuse_another(confirmed: str, draft: IntakeDraft) -> None:
    """Raise `DraftIsAnother` when it is not this draft that was confirmed, with what differs."""
    if confirmed == draft.digest:
        return
    slices = [slice(PART * i, PART * (i + 1)) for i in range(len(PARTS))]
    differing = [
        ProblemDetail(pointer=pointer, reason=reason, figure=confirmed[at], limit=draft.digest[at], remedy=remedy)
        for at, (pointer, reason, remedy) in zip(slices, PARTS, strict=True)
        if confirmed[at] != draft.digest[at]
    ]
    raise DraftIsAnother(confirmed, draft.digest, *differing)


def _json(value: Any) -> bytes:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, default=str).encode("utf-8", "surrogatepass")
