"""The services that the desk asks for a caller, over HTTP and with the key that the caller showed: whatever it may and has used up there counts."""

from __future__ import annotations

from dataclasses import dataclass

import httpx
from fastapi import Response

from services.chassis.between_services import client_of
from services.chassis.problems import MEDIA_TYPE
from services.chassis.settings import Settings
from services.desk.drafts.look_over import CheckRefused
from services.desk.errors import PartAway
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Prescription
from shared_schemas.problem import Problem
from shared_schemas.quote_request import QuoteRequest

WAITS_S = 30.0
"""A check may wait for its turn (20 s), and takes seconds for a large lens."""
PASSED_ON = ("Location", "Retry-After", "RateLimit", "RateLimit-Policy", "WWW-Authenticate")


class AnsweredElsewhere(Exception):
    """A service refused what the desk asked for its caller, who is to hear its own words."""

    def __init__(self, answer: httpx.Response) -> None:
        self.answer = answer
        super().__init__(f"answered {answer.status_code}")

    def response(self) -> Response:
        """The refusal, as it came."""
        return passed_on(self.answer)


@dataclass(frozen=True)
class Asking:
    """Whoever is asked for the caller of one request: `authorization` is the header that came with it."""

    settings: Settings
    authorization: str
    idempotency_key: str | None = None

    def check(self, prescription: Prescription) -> CheckReport:
        """What the check says; raises `CheckRefused`, `AnsweredElsewhere` or `PartAway`."""
        body = prescription.model_dump_json().encode()
        answer = self._post("prescription", self.settings.check_url, "/v1/prescriptions/check", body, {})
        if answer.status_code == 200:
            return CheckReport.model_validate_json(answer.content)
        if answer.status_code == 422 and _problem(answer) is not None and any(error.pointer for error in _problem(answer).errors):  # type: ignore[union-attr]
            raise CheckRefused(_problem(answer).errors)  # type: ignore[union-attr]
        raise AnsweredElsewhere(answer)

    def quote(self, request: QuoteRequest) -> Response:
        """The answer of quoting to a request, as it came; raises `PartAway`."""
        headers = {"Idempotency-Key": self.idempotency_key} if self.idempotency_key else {}
        return passed_on(
            self._post("quoting", self.settings.quoting_url, "/v1/quotes", request.model_dump_json().encode(), headers)
        )

    def _post(self, part: str, origin: str, path: str, body: bytes, headers: dict[str, str]) -> httpx.Response:
        sent = {"Authorization": self.authorization, "Content-Type": "application/json", **headers}
        client = client_of(origin, self.settings.service_key.get_secret_value())
        try:
            return client.post(path, content=body, headers=sent, timeout=httpx.Timeout(WAITS_S, connect=2))
        except httpx.TransportError as fault:
            raise PartAway(part) from fault


def _problem(answer: httpx.Response) -> Problem | None:
    if not answer.headers.get("Content-Type", "").startswith(MEDIA_TYPE):
        return None
    return Problem.model_validate_json(answer.content)


def passed_on(answer: httpx.Response) -> Response:
    """An answer of another service for the caller of this one."""
    headers = {name: answer.headers[name] for name in PASSED_ON if name in answer.headers}
    return Response(answer.content, answer.status_code, headers=headers, media_type=answer.headers.get("Content-Type"))
