"""The request of a revision with changes in it: a merge patch first, then operations of a JSON Patch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from services.chassis.problems import details_of_invalid
from services.quoting.errors import RequestUnanswerable
from services.quoting.service.request_patch import patched
from shared_schemas.json_patch import PatchOperation
from shared_schemas.merge_patch import merged
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import QuoteRequest

NO_SUCH_FIELD = "extra_forbidden"


@dataclass(frozen=True)
class Sent:
    """What was sent to change a request: the fields of it that a merge patch names, and where each operation of a JSON Patch came to."""

    fields: frozenset[str]
    places: tuple[str, ...]

    def told(self, fault: ProblemDetail, *, is_unknown: bool = False) -> ProblemDetail:
        """A fault of the changed request at the last operation that brought it in; else below `/changes`, or of the patch as a whole."""
        at = fault.pointer
        for number, place in reversed(list(enumerate(self.places))):
            if at == place or at.startswith(f"{place}/"):
                below = at[len(place) :]
                return _moved(fault, f"/patch/{number}/path" if is_unknown and not below else f"/patch/{number}/value{below}")
            if place.startswith(f"{at}/"):
                return _moved(fault, f"/patch/{number}/path", f"with it, at {at or 'the request'}: {fault.reason}")
        if self.places and at.split("/")[1] not in self.fields:
            return _moved(fault, "/patch", f"with it, at {at}: {fault.reason}")
        return _moved(fault, f"/changes{at}")


def _moved(fault: ProblemDetail, pointer: str, reason: str | None = None) -> ProblemDetail:
    return fault.model_copy(update={"pointer": pointer, "reason": reason or fault.reason})


@dataclass(frozen=True)
class ChangedRequest:
    """A request with changes in it, and what was sent for that."""

    request: QuoteRequest
    sent: Sent

    def refuse_if_any(self, faults: Sequence[ProblemDetail]) -> None:
        """Raise `RequestUnanswerable` with faults of the request as faults of what changed it."""
        if faults:
            raise RequestUnanswerable([self.sent.told(fault) for fault in faults])


def changed(before: dict[str, Any], *, changes: dict[str, Any], patch: Sequence[PatchOperation]) -> ChangedRequest:
    """A request with `changes` and then `patch` in it.

    Raises `RequestUnanswerable` with every place that cannot be, below `/changes` and `/patch`, and `PatchTestFailed`.
    """
    done = patched(merged(before, changes), [operation.document() for operation in patch])
    sent = Sent(frozenset(changes), done.places)
    try:
        return ChangedRequest(QuoteRequest.model_validate(done.document), sent)
    except ValidationError as fault:
        errors = fault.errors()
        unknown = {
            one.pointer for one in details_of_invalid([one for one in errors if one["type"] == NO_SUCH_FIELD], done.document)
        }
        details = details_of_invalid(errors, done.document)
        raise RequestUnanswerable([sent.told(one, is_unknown=one.pointer in unknown) for one in details]) from fault
