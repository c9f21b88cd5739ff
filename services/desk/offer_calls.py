"""Calls of the client about offers: what the customer reads of a quote."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Literal
from urllib.parse import quote as in_path

HTML, PDF = "text/html", "application/pdf"
Paper = Literal["a4", "letter"]


class OfferCalls(ABC):
    """What a client can ask of offers; `content` is its own."""

    @abstractmethod
    def content(self, kind: str, path: str, query: Mapping[str, str | None]) -> bytes:
        """An answer of a media type as it came."""

    def sheet(
        self, number: str, revision: int | None = None, *, kind: str = HTML, language: str | None = None, paper: Paper | None = None
    ) -> bytes:  # fmt: skip
        """The customer's offer of a ready quote, as a page of HTML (UTF-8) or a PDF, complete in itself."""
        query = {"revision": None if revision is None else str(revision), "language": language, "paper": paper}
        return self.content(kind, f"/v1/quotes/{in_path(number, safe='')}/sheet", query)
