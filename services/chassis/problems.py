"""Every error that leaves the suite is a problem document (RFC 9457). Foreign errors are translated here, once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from services.chassis.invalid_words import in_words
from shared_schemas.problem import Explained, Problem, ProblemDetail

MEDIA_TYPE = "application/problem+json"

PROBLEM_TYPES: dict[str, tuple[int, str, str]] = {
    "not-http": (400, "The request is not HTTP", "Look at what stands between you and us, and at the program that wrote the request."),
    "not-json": (400, "The body is not JSON", "Send one JSON document, encoded in UTF-8."),
    "key-missing": (401, "A key is needed", "Send the header Authorization: Bearer <key>."),
    "key-unknown": (401, "The key is not known", "Check the key; it may have ended or been revoked."),
    "role-may-not": (403, "This key may not do that", "Ask for a key of one of the roles that the answer names, or of wider scope."),
    "not-found": (404, "There is no such thing here", "Check the address and the number in it."),
    "method-not-allowed": (405, "This address does not take that method", "See the header Allow."),
    "method-unknown": (501, "Nobody here knows that method", "See the header Allow."),
    "not-acceptable": (406, "No such representation", "Ask for one of the media types that the answer names."),
    "body-too-slow": (408, "The body took too long", "Send it at once; the time that is given is in the answer."),
    "idempotency-conflict": (422, "The Idempotency-Key was used for another request", "Use a new key for a new request."),
    "conflict": (409, "Not as it stands now", "The answer says how it stands, and what would do."),
    "not-replayable": (409, "It has not failed", "Look at the quote that the answer names; there is nothing to replay."),
    "gone": (410, "It was here and is no longer", "The answer says where it is, or how to go on without it."),
    "stale": (412, "It was changed meanwhile", "Read it again and repeat your change."),
    "body-too-large": (413, "The body is too large", "Send less; the limit is in the answer."),
    "unsupported-media-type": (415, "The body is of another kind", "Send application/json."),
    "invalid": (422, "The request has values that cannot be", "Each of errors names a place, what stands there and what would do."),
    "body-too-complex": (422, "The body holds too much", "Split it; what may stand in a body is in the answer."),
    "refused": (422, "The lens cannot be made as it is drawn", "Each entry of errors is a reason, with the figure and the limit."),
    "rates": (422, "The rates cannot answer this", "An engineer adds or mends the row that the answer names."),
    "if-match-missing": (428, "If-Match is needed", "Read the table first and send its ETag back."),
    "headers-too-large": (431, "The head of the request is too large", "Send less in headers and query; the limit is in the answer."),
    "to-confirm": (422, "It needs a second look", "Look at each of errors again; what is meant so goes with its code into confirm."),
    "too-much-work": (422, "It is more work than one quote may be", "Ask for less at a time; the answer says how much would do."),
    "cancelled": (409, "It was cancelled", "Ask for it anew."),
    "too-often": (429, "Too many requests", "Wait as long as Retry-After says, then send fewer at a time."),
    "internal": (500, "Something unforeseen broke", "Try again; if it stays, tell the operator the instance."),
    "stage-failed": (500, "A stage of the quote failed", "The answer says which. Ask for the quote again when it is mended; the operator has the details."),
    "unavailable": (503, "A part of the suite does not answer", "Try again in a moment."),
    "busy": (503, "Too much is being worked on", "Send it again after the seconds that Retry-After names."),
    "queue-full": (503, "The queue is full", "Send it again after the seconds that Retry-After names, with the same Idempotency-Key."),
}  # fmt: skip
"""Every type of problem: status, title, and what would do. Each has its paragraph at `/problems#<slug>`."""


def problem_type(slug: str) -> str:
    """The address of a problem type, relative to the origin; raises `KeyError` for a type that is not in the table."""
    if slug not in PROBLEM_TYPES:
        raise KeyError(slug)
    return f"/problems#{slug}"


def problem(
    slug: str, detail: str, *, instance: str | None = None, status: int | None = None, title: str | None = None,
    errors: Sequence[ProblemDetail] = (),
) -> Problem:  # fmt: skip
    """A problem document of a type in the table."""
    known_status, known_title, _ = PROBLEM_TYPES[slug]
    return Problem(
        type=problem_type(slug),
        title=title or known_title,
        status=status or known_status,
        detail=clean(detail),
        instance=instance,
        errors=tuple(errors),
    )


def explained_problem(fault: Explained, mapped: tuple[int, str, str], instance: str | None) -> Problem:
    """The problem of an error that explains itself, as the service that raised it maps it (status, slug, title)."""
    status, slug, title = mapped
    return problem(slug, str(fault), instance=instance, status=status, title=title, errors=fault.errors)


def details_of_invalid(errors: Sequence[Any], body: Any) -> list[ProblemDetail]:
    """What pydantic found, as entries with a JSON pointer into `body`, the figure, the limit and what would do."""
    details: dict[tuple[str, str], ProblemDetail] = {}
    for error in errors:
        if error["type"] == "too_short" and _has_wrong_entries(error["loc"], errors):
            continue
        if (
            error["type"] == "string_type"
            and isinstance(error.get("input"), dict)
            and _is_an_object_elsewhere(error["loc"], errors)
        ):
            continue
        place = list(error["loc"])
        source = str(place.pop(0)) if place and place[0] in ("body", "query", "path", "header") else "body"
        pointer = pointer_into(body, place, error["type"]) if source == "body" else f"/{source}/" + "/".join(map(str, place))
        reason, limit, remedy = in_words(error)
        figure = None if error["type"] == "missing" else shown(error.get("input"))
        detail = ProblemDetail(pointer=clean(pointer), reason=clean(reason), figure=figure, limit=shown(limit), remedy=remedy)
        details.setdefault((pointer, reason), detail)
    return list(details.values())


def _has_wrong_entries(place: Sequence[Any], errors: Sequence[Any]) -> bool:
    """Whether entries of the array at `place` are wrong themselves: pydantic counts only the right ones."""
    return any(len(other["loc"]) > len(place) and other["loc"][: len(place)] == place for other in errors)


def _is_an_object_elsewhere(place: Sequence[Any], errors: Sequence[Any]) -> bool:
    """Whether another branch of the union at `place` takes an object, and found fault within it: that is the one that was meant."""
    above = place[:-1]
    return any(len(other["loc"]) > len(place) and other["loc"][: len(above)] == above and other["loc"] != place for other in errors)


def pointer_into(body: Any, place: Sequence[Any], kind: str) -> str:
    """The JSON pointer of `place` in `body`; what is no step in the document (the branch of a union) is left out."""
    steps: list[str] = []
    at = body
    for i, part in enumerate(place):
        if (isinstance(at, dict) and part in at) or (isinstance(at, (list, tuple)) and isinstance(part, int) and part < len(at)):
            at = at[part]
        elif not (i == len(place) - 1 and kind in ("missing", "fault")):
            continue
        else:
            at = None
        steps.append(str(part).replace("~", "~0").replace("/", "~1"))
    return "".join(f"/{step}" for step in steps)


def shown(value: Any) -> Any:
    """A value as an answer may show it: finite, short, and encodable."""
    if value is None or isinstance(value, (bool, int)):
        return value if not isinstance(value, int) or abs(value) < 2**63 else clean(str(value)[:60])
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    return clean(str(value))[:120]


def clean(text: str) -> str:
    """Text without lone surrogates and control characters, which no answer can carry."""
    return "".join(c if c.isprintable() else "?" for c in text.encode("utf-8", "replace").decode("utf-8"))
