"""Calls of the client about job estimates and the commercial documents of a quote."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal, TypeVar
from urllib.parse import quote as in_path

from pydantic import BaseModel

if TYPE_CHECKING:
    from shared_schemas.estimate import Estimate, EstimatePart, EstimatePlan
    from shared_schemas.estimate_feed import EstimatePage

Answer = TypeVar("Answer", bound=BaseModel)
CSV, XML = "text/csv", "application/xml"
UblDocument = Literal["quotation", "order-response"]


class EstimateCalls(ABC):
    """What a client can ask of job estimates; `asked` and `text` are its own."""

    @abstractmethod
    def asked(
        self, kind: type[Answer], method: str, path: str, *, query: Mapping[str, str | list[str] | None] | None = None, body: Any = None,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:  # fmt: skip
        """An answer as a contract."""

    @abstractmethod
    def text(self, kind: str, path: str, query: Mapping[str, str | None]) -> str:
        """An answer of a media type as text."""

    def estimates(
        self, after: str | None = None, *, types: Sequence[str] = (), since: str | None = None, wait_s: int | None = None,
        limit: int | None = None,
    ) -> EstimatePage:  # fmt: skip
        """A page of the feed of job estimates, oldest first: `after` is the cursor to go on from, `wait_s` how long it may wait for an entry."""
        from shared_schemas.estimate_feed import EstimatePage  # noqa: PLC0415

        query = {"after": after, "since": since, "type": list(types) or None, "limit": _or_none(limit)}
        return self.asked(
            EstimatePage, "GET", "/v1/estimates", query=query, headers={"Prefer": f"wait={wait_s}"} if wait_s else None
        )

    def estimate(self, number: str, quantity: int | None = None) -> Estimate:
        """One job estimate in full: every quantity that was quoted, or one of them, and the routes with what explains them."""
        from shared_schemas.estimate import Estimate  # noqa: PLC0415  # who only quotes does not wait for it

        return self.asked(Estimate, "GET", _place(number), query={"quantity": _or_none(quantity)})

    def estimate_plan(self, number: str, quantity: int | None = None) -> EstimatePlan:
        """One job estimate to plan from: the quantity that is ordered, if one is and no other is named."""
        from shared_schemas.estimate import EstimatePlan  # noqa: PLC0415

        return self.asked(EstimatePlan, "GET", _place(number), query={"view": "plan", "quantity": _or_none(quantity)})

    def estimate_csv(self, number: str, part: EstimatePart = "operations", quantity: int | None = None) -> str:
        """One list of a job estimate as CSV."""
        return self.text(CSV, _place(number), {"part": part, "quantity": _or_none(quantity)})

    def ubl(self, number: str, document: UblDocument = "quotation", revision: int | None = None) -> str:
        """A ready quote as a UBL 2.1 Quotation, or once it is accepted as an OrderResponse: XML to be sent to the customer."""
        place = f"/v1/quotes/{in_path(number, safe='')}/ubl/{document}"
        return self.text(XML, place, {"revision": _or_none(revision)})


def _place(number: str) -> str:
    return f"/v1/estimates/{in_path(number, safe='')}"


def _or_none(number: int | None) -> str | None:
    return None if number is None else str(number)
