"""Calls of the client about what customers send."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel

from shared_schemas.intake import IntakeDraft, IntakeRequest

Answer = TypeVar("Answer", bound=BaseModel)


class IntakeCalls(ABC):
    """What a client can ask about what customers send; `asked` is its own."""

    @abstractmethod
    def asked(
        self, kind: type[Answer], method: str, path: str, *, query: Mapping[str, str | list[str] | None] | None = None, body: Any = None,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:  # fmt: skip
        """An answer as a contract."""

    def intake(self, sent: IntakeRequest) -> IntakeDraft:
        """What is made of a table, file or letter: the request, what was assumed, what is asked. Nothing is kept."""
        body = sent.model_dump(mode="json", exclude_none=True, exclude={"confirm"})
        return self.asked(IntakeDraft, "POST", "/v1/intake", body=body)
