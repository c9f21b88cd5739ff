"""The API of a Blankwright server, as Python calls: contracts in, contracts out, errors of the desk.

with BlankwrightClient(url="http://127.0.0.1:8750", key=key) as desk:
    accepted = desk.request_quote(request)
    quote = desk.wait_for_quote(accepted.number, timeout_s=60)
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self, TypeVar
from urllib.parse import quote as in_path

from pydantic import BaseModel, ValidationError

from services.desk.errors import AnswerNotUnderstood, ServerRefused, ServerUnreachable, WaitedTooLong
from services.desk.quick_http import httpx
from shared_schemas.blanks import JointPurchases
from shared_schemas.by_hand import BuyTogether
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Prescription
from shared_schemas.problem import Problem
from shared_schemas.quote import (
    FINAL_STATUSES,
    Estimate,
    EstimatePage,
    Quote,
    QuoteAccepted,
    QuotePage,
    QuoteRequest,
)

if TYPE_CHECKING:
    from shared_schemas.rates import RevisionList, TablePage

Answer = TypeVar("Answer", bound=BaseModel)

FIRST_PAUSE_S = 0.03
LONGEST_PAUSE_S = 1.0
PAUSE_GROWS_BY = 1.35
FAULTS_BORNE = 5
"""So many looks in a row may fail while waiting for a quote; a server that restarts is not a lost quote."""


class BlankwrightClient:
    """One server and one key. Safe to keep; close it, or use it in a `with`.

    Every method raises `ServerUnreachable`, `ServerRefused` or `AnswerNotUnderstood`, and nothing of the HTTP library.
    """

    def __init__(
        self, *, url: str, key: str, timeout_s: float = 30.0, transport: httpx.BaseTransport | None = None,
        clock: Callable[[], float] = time.monotonic, sleep: Callable[[float], None] = time.sleep,
    ) -> None:  # fmt: skip
        self._url = url.rstrip("/")
        self._clock = clock
        self._sleep = sleep
        with self._translated():
            origin = httpx.URL(self._url)
            if origin.scheme not in ("http", "https") or not origin.host:
                raise httpx.UnsupportedProtocol("it is no address of the form http://host:port")
            self._http = httpx.Client(
                base_url=origin,
                headers={"Authorization": f"Bearer {key}", "Accept": "application/json"},
                timeout=httpx.Timeout(timeout_s, connect=min(timeout_s, 5.0)),
                transport=transport,
                verify=origin.scheme == "https",  # certificates take time to load, and plain HTTP has none
                trust_env=origin.host not in ("127.0.0.1", "::1", "localhost"),  # a proxy cannot reach our loopback
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Give the connections back."""
        self._http.close()

    def check(self, prescription: Prescription) -> CheckReport:
        """Whether a lens can be made, at once and without a quote."""
        return self._asked(CheckReport, "POST", "/v1/prescriptions/check", body=_json(prescription))

    def request_quote(self, request: QuoteRequest, idempotency_key: str | None = None) -> QuoteAccepted:
        """Ask for a quote. The same `idempotency_key` with the same request gets the same quote, however often it is sent."""
        headers = {"Idempotency-Key": idempotency_key} if idempotency_key else {}
        return self._asked(QuoteAccepted, "POST", "/v1/quotes", body=_json(request), headers=headers)

    def quote(self, number: str) -> Quote:
        """A quote as it stands at this moment."""
        return self._asked(Quote, "GET", f"/v1/quotes/{in_path(number, safe='')}")

    def wait_for_quote(
        self, number: str, timeout_s: float = 120.0, on_status: Callable[[str], None] = lambda _: None
    ) -> Quote:  # fmt: skip
        """The quote when it is ready, refused or failed. `on_status` is called with each status that is seen, once.

        Looks often at first and then ever more seldom, once a second at last. Raises `WaitedTooLong`.
        """
        began = self._clock()
        pause, seen, faults = FIRST_PAUSE_S, "", 0
        while True:
            try:
                found = self.quote(number)
            except (ServerUnreachable, ServerRefused) as fault:
                faults += 1
                if faults > FAULTS_BORNE or (isinstance(fault, ServerRefused) and fault.status < 500):
                    raise
            else:
                faults = 0
                if found.status != seen:
                    seen = found.status
                    on_status(seen)
                if seen in FINAL_STATUSES:
                    return found
            waited = self._clock() - began
            if waited >= timeout_s:
                raise WaitedTooLong(number, seen or "accepted", waited)
            self._sleep(min(pause, timeout_s - waited))
            pause = min(pause * PAUSE_GROWS_BY, LONGEST_PAUSE_S)

    def quotes(self, cursor: str | None = None) -> QuotePage:
        """A page of quotes, newest first; `cursor` is the `next` of the page before."""
        return self._asked(QuotePage, "GET", "/v1/quotes", query={"cursor": cursor})

    def estimates(self, after: str | None = None) -> EstimatePage:
        """A page of the feed of job estimates, oldest first; `after` is the cursor to go on from."""
        return self._asked(EstimatePage, "GET", "/v1/estimates", query={"after": after})

    def estimate(self, number: str) -> Estimate:
        """One job estimate: routing and bill of materials."""
        return self._asked(Estimate, "GET", f"/v1/estimates/{in_path(number, safe='')}")

    def buy_together(self, wanted: BuyTogether) -> JointPurchases:
        """What the glass of several lenses costs apart and together."""
        return self._asked(JointPurchases, "POST", "/v1/blanks/buy-together", body=_json(wanted))

    def rate_revisions(self, cursor: str | None = None) -> RevisionList:
        """A page of rate revisions, newest first; `cursor` is the `next` of the page before."""
        from shared_schemas.rates import RevisionList  # noqa: PLC0415  # who only quotes does not wait for it

        return self._asked(RevisionList, "GET", "/v1/rates/revisions", query={"cursor": cursor})

    def rate_table(self, table: str) -> tuple[TablePage, str]:
        """A rate table as it stands, and the ETag that a change must show."""
        return self._table("GET", table)

    def put_rate_table(self, table: str, rows: Sequence[Mapping[str, Any]], reason: str, etag: str) -> tuple[TablePage, str]:
        """Replace a rate table, if it is still the one that `etag` names; the new table and its ETag.

        Raises `ServerRefused` with status 412 when somebody changed it meanwhile.
        """
        return self._table("PUT", table, body=_plain({"rows": list(rows), "reason": reason}), headers={"If-Match": etag})

    def is_ready(self) -> bool:
        """Whether the server says that it can work."""
        return self._send("GET", "/readyz").status_code == 200

    def _table(
        self, method: str, table: str, *, body: Any = None, headers: Mapping[str, str] | None = None
    ) -> tuple[TablePage, str]:
        from shared_schemas.rates import TablePage  # noqa: PLC0415

        answer = self._send(method, f"/v1/rates/tables/{in_path(table, safe='')}", body=body, headers=headers)
        return self._read(TablePage, answer), answer.headers.get("ETag", "")

    def _asked(
        self, kind: type[Answer], method: str, path: str, *, query: Mapping[str, str | None] | None = None, body: Any = None,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:  # fmt: skip
        return self._read(kind, self._send(method, path, query=query, body=body, headers=headers))

    def _send(
        self, method: str, path: str, *, query: Mapping[str, str | None] | None = None, body: Any = None,
        headers: Mapping[str, str] | None = None,
    ) -> httpx.Response:  # fmt: skip
        params = {name: value for name, value in (query or {}).items() if value is not None}
        with self._translated():
            return self._http.request(method, path, params=params, json=body, headers=dict(headers or {}))

    def _read(self, kind: type[Answer], answer: httpx.Response) -> Answer:
        """The answer as the contract that it should be; raises `ServerRefused` or `AnswerNotUnderstood`."""
        where = str(answer.request.url)
        try:
            if answer.is_success:
                return kind.model_validate_json(answer.content)
            problem = Problem.model_validate_json(answer.content)
        except ValidationError as fault:
            first = fault.errors(include_url=False, include_input=False)[0]
            place = "/".join(str(step) for step in first["loc"])
            raise AnswerNotUnderstood(where, answer.status_code, f"{place or 'the body'}: {first['msg']}") from fault
        raise ServerRefused(problem)

    @contextmanager
    def _translated(self) -> Iterator[None]:
        """Errors of the HTTP library become errors of the desk: here, and nowhere else."""
        try:
            yield
        except httpx.TimeoutException as fault:
            raise ServerUnreachable(self._url, "it did not answer in time") from fault
        except (httpx.RequestError, httpx.InvalidURL) as fault:
            raise ServerUnreachable(self._url, str(fault).rstrip(".") or type(fault).__name__) from fault


def _json(contract: BaseModel) -> Any:
    return contract.model_dump(mode="json")


def _plain(value: Any) -> Any:
    """Rows as JSON has them: an amount is a decimal string, a day its ISO form."""
    if isinstance(value, Mapping):
        return {name: _plain(inner) for name, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(inner) for inner in value]
    if isinstance(value, Decimal):
        return str(value)
    return value.isoformat() if isinstance(value, date) else value
