"""Calls of an estimator: what customers send, the worksheet of a quote and its second key."""

from __future__ import annotations

from typing import TYPE_CHECKING

from services.client.call import Call, call, step

if TYPE_CHECKING:
    from shared_schemas.intake import IntakeDraft, IntakeRequest
    from shared_schemas.quote import QuoteAccepted
    from shared_schemas.worksheet import Approval, ApprovalRequest, Worksheet, WorksheetChange


def intake(sent: IntakeRequest) -> Call[IntakeDraft]:
    """What is made of a table, file or letter: the request, what was assumed, what is asked. Nothing is kept."""
    from shared_schemas.intake import IntakeDraft

    return call(
        IntakeDraft,
        "POST",
        "/v1/intake",
        body=sent.model_dump(mode="json", exclude_none=True, exclude={"confirm"}),
        repeatable=True,
    )


def confirm_intake(sent: IntakeRequest, digest: str, idempotency_key: str | None = None) -> Call[QuoteAccepted]:
    """Ask for the quote of a draft that is meant as it is: the same that was sent, with its answers and the draft's `digest`."""
    from shared_schemas.quote import QuoteAccepted

    body = {**sent.model_dump(mode="json", exclude_none=True), "confirm": digest}
    return call(QuoteAccepted, "POST", "/v1/intake", body=body, keyed=True, key=idempotency_key)


def worksheet(number: str, revision: int | None = None) -> Call[Worksheet]:
    """A ready quote as an estimator works on it, each figure with the pointer by which it is set."""
    from shared_schemas.worksheet import Worksheet

    return call(Worksheet, "GET", _place(number, "worksheet"), query={"revision": revision})


def change_worksheet(number: str, change: WorksheetChange, idempotency_key: str | None = None) -> Call[QuoteAccepted]:
    """Set figures of the latest revision, withdraw or confirm what was set; makes the next revision."""
    from shared_schemas.quote import QuoteAccepted

    return call(QuoteAccepted, "PATCH", _place(number, "worksheet"), body=change, keyed=True, key=idempotency_key)


def approve(number: str, asked: ApprovalRequest) -> Call[Approval]:
    """Be the second key of a revision that needs one. The same told again gets the same answer."""
    from shared_schemas.worksheet import Approval

    return call(Approval, "POST", _place(number, "approvals"), body=asked, repeatable=True)


def _place(number: str, below: str) -> str:
    return f"/v1/quotes/{step(number)}/{below}"
