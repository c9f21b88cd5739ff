"""Where a process gets rate revisions: over HTTP from the service that keeps them, once each, then from memory."""

from __future__ import annotations

from collections import OrderedDict
from typing import Protocol

import httpx

from shared_schemas.problem import Explained
from shared_schemas.rates import RateRevision, RevisionList

MOST_KEPT = 8


class RatesUnavailable(Exception):
    """The revision cannot be had just now; trying again later may help."""


class RevisionNotFound(Explained):
    """No revision of that number."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(f"There is no rate revision {number}.")


class RateSource(Protocol):
    """Gives revisions by number, and the latest."""

    def revision(self, number: int) -> RateRevision: ...

    def latest(self) -> RateRevision: ...


class HttpRateSource:
    """Revisions from `rates_url`, shown `service_key`. A revision never changes, so it is asked for once."""

    def __init__(self, rates_url: str, service_key: str, *, transport: httpx.BaseTransport | None = None) -> None:
        self._client = httpx.Client(
            base_url=rates_url,
            headers={"Authorization": f"Bearer {service_key}", "Accept": "application/json"},
            timeout=httpx.Timeout(10, connect=2),
            transport=transport,
        )
        self._kept: OrderedDict[int, RateRevision] = OrderedDict()

    def revision(self, number: int) -> RateRevision:
        """The revision of that number. Raises `RevisionNotFound`, or `RatesUnavailable` when the service does not answer."""
        if number not in self._kept:
            body = self._get(f"/v1/rates/revisions/{number}", missing=RevisionNotFound(number))
            self._kept[number] = RateRevision.model_validate_json(body)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        self._kept.move_to_end(number)
        return self._kept[number]

    def latest(self) -> RateRevision:
        """The newest revision. Raises `RatesUnavailable` when the service does not answer or has none."""
        page = RevisionList.model_validate_json(self._get("/v1/rates/revisions?limit=1", missing=RevisionNotFound(1)))
        if not page.items:
            raise RatesUnavailable("the rates service has no revision yet; run the migrations first")
        return self.revision(page.items[0].number)

    def _get(self, path: str, *, missing: Explained) -> bytes:
        try:
            answer = self._client.get(path)
        except httpx.TransportError as fault:
            raise RatesUnavailable(f"the rates service does not answer: {fault}") from fault
        if answer.status_code == 404:
            raise missing
        if answer.status_code != 200:
            raise RatesUnavailable(f"the rates service answered {answer.status_code}")
        return answer.content
