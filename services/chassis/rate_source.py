"""Where a process gets rate revisions: over HTTP from the service that keeps them, once each, then from memory."""

from __future__ import annotations

from threading import Lock
from typing import Any, Protocol

import httpx
from cachetools import LRUCache, cachedmethod
from pydantic import ValidationError

from services.chassis import tracing
from shared_schemas.problem import Explained, Problem
from shared_schemas.rate_impact import RateProposal
from shared_schemas.rates import RateRevision, RevisionList

MOST_KEPT = 8


class RatesUnavailable(Exception):
    """The revision cannot be had just now; trying again later may help."""


class RevisionNotFound(Explained):
    """No revision of that number."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(f"There is no rate revision {number}.")


class RevisionOutgrown(Explained):
    """A revision without columns that this release needs. What an older release meant without them nobody makes up."""

    def __init__(self, number: int, why: ValidationError) -> None:
        self.number = number
        columns = sorted({f"{error['loc'][1]}.{error['loc'][-1]}" for error in why.errors() if len(error["loc"]) > 1})
        super().__init__(
            f"Rate revision {number} is of an earlier release, and this one reads {', '.join(columns[:6]) or 'it'} differently. "
            "Use the newest revision."
        )


class ProposalRefused(Explained):
    """Rates that cannot be; each of `errors` names a place in what was proposed."""

    def __init__(self, refusal: Problem) -> None:
        super().__init__(refusal.detail, *refusal.errors)


def read_revision(number: int, document: bytes) -> RateRevision:
    """A revision as the rates service hands it out; raises `RevisionOutgrown` for one whose rows this release cannot read."""
    try:
        return RateRevision.model_validate_json(document)
    except ValidationError as fault:
        raise RevisionOutgrown(number, fault) from fault


class RateSource(Protocol):
    """Gives revisions by number, and the latest."""

    def revision(self, number: int) -> RateRevision: ...

    def latest(self) -> RateRevision: ...

    def propose(self, table: str, body: bytes, content_type: str, *, by: str) -> RateProposal: ...

    def propose_draft(self, draft: int, *, by: str) -> RateProposal: ...


class HttpRateSource:
    """Revisions from `rates_url`, shown `service_key`. A revision never changes, so it is asked for once."""

    def __init__(self, rates_url: str, service_key: str, *, transport: httpx.BaseTransport | None = None) -> None:
        self._client = httpx.Client(
            base_url=rates_url,
            headers={"Authorization": f"Bearer {service_key}", "Accept": "application/json"},
            timeout=httpx.Timeout(10, connect=2),
            transport=transport,
            event_hooks={"request": [tracing.in_our_trace]},
        )
        self._kept: LRUCache[Any, RateRevision] = LRUCache(MOST_KEPT)
        self._lock = Lock()

    @cachedmethod(lambda self: self._kept, lock=lambda self: self._lock)
    def revision(self, number: int) -> RateRevision:
        """The revision of that number, or below zero the proposal.

        Raises `RevisionNotFound`, `RevisionOutgrown`, or `RatesUnavailable` when the service does not answer.
        """
        place = f"revisions/{number}" if number > 0 else f"proposals/{-number}"
        return read_revision(number, self._get(f"/v1/rates/{place}", missing=RevisionNotFound(number)))

    def latest(self) -> RateRevision:
        """The newest revision. Raises `RatesUnavailable` when the service does not answer or has none."""
        page = RevisionList.model_validate_json(self._get("/v1/rates/revisions?limit=1", missing=RevisionNotFound(1)))
        if not page.items:
            raise RatesUnavailable("the rates service has no revision yet; run the migrations first")
        return self.revision(page.items[0].number)

    def propose(self, table: str, body: bytes, content_type: str, *, by: str) -> RateProposal:
        """Have a table kept as a proposal. Raises `ProposalRefused` for rows that cannot be, or `RatesUnavailable`."""
        headers = {"Content-Type": content_type}
        return self._proposed(params={"table": table, "by": by}, content=body, headers=headers)

    def propose_draft(self, draft: int, *, by: str) -> RateProposal:
        """Have all tables of a draft kept as a proposal. Raises `ProposalRefused` for one that is unknown or wrong, or `RatesUnavailable`."""
        return self._proposed(params={"draft": draft, "by": by})

    def _proposed(self, **asked: Any) -> RateProposal:
        answer = self._asked("POST", "/v1/rates/proposals", **asked)
        if answer.status_code in (404, 409, 422):
            raise ProposalRefused(Problem.model_validate_json(answer.content))
        if answer.status_code != 201:
            raise RatesUnavailable(f"the rates service answered {answer.status_code}")
        return RateProposal.model_validate_json(answer.content)

    def _get(self, path: str, *, missing: Explained) -> bytes:
        answer = self._asked("GET", path)
        if answer.status_code == 404:
            raise missing
        if answer.status_code != 200:
            raise RatesUnavailable(f"the rates service answered {answer.status_code}")
        return answer.content

    def _asked(self, method: str, path: str, **more: Any) -> httpx.Response:
        try:
            return self._client.request(method, path, **more)
        except httpx.TransportError as fault:
            raise RatesUnavailable(f"the rates service does not answer: {fault}") from fault
