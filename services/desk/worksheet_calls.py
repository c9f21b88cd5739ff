"""Calls of the client about the worksheet of a quote and its second key."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import quote as in_path

from pydantic import BaseModel

from shared_schemas.quote import QuoteAccepted

if TYPE_CHECKING:
    from shared_schemas.worksheet import Approval, ApprovalRequest, Worksheet, WorksheetChange

Answer = TypeVar("Answer", bound=BaseModel)


class WorksheetCalls(ABC):
    """What a client can ask of worksheets; `asked` is its own."""

    @abstractmethod
    def asked(
        self, kind: type[Answer], method: str, path: str, *, query: Mapping[str, str | list[str] | None] | None = None, body: Any = None,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:  # fmt: skip
        """An answer as a contract."""

    def worksheet(self, number: str, revision: int | None = None) -> Worksheet:
        """A ready quote as an estimator works on it, each figure with the pointer by which it is set."""
        from shared_schemas.worksheet import Worksheet  # noqa: PLC0415  # who only quotes does not wait for it

        query = {"revision": None if revision is None else str(revision)}
        return self.asked(Worksheet, "GET", _place(number, "worksheet"), query=query)

    def change_worksheet(self, number: str, change: WorksheetChange, idempotency_key: str | None = None) -> QuoteAccepted:
        """Set figures of the latest revision, withdraw or confirm what was set; makes the next revision."""
        headers = {"Idempotency-Key": idempotency_key} if idempotency_key else {}
        body = change.model_dump(mode="json")
        return self.asked(QuoteAccepted, "PATCH", _place(number, "worksheet"), body=body, headers=headers)

    def approve(self, number: str, asked: ApprovalRequest) -> Approval:
        """Be the second key of a revision that needs one. The same told again gets the same answer."""
        from shared_schemas.worksheet import Approval  # noqa: PLC0415

        return self.asked(Approval, "POST", _place(number, "approvals"), body=asked.model_dump(mode="json"))


def _place(number: str, below: str) -> str:
    return f"/v1/quotes/{in_path(number, safe='')}/{below}"
