"""The API of a Blankwright server, as Python calls: contracts in, contracts out, errors of the desk.

with BlankwrightClient(url="http://127.0.0.1:8750", key=key) as desk:
    accepted = desk.request_quote(request)
    quote = desk.wait_for_quote(accepted.number, timeout_s=60)
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self, TypeVar
from urllib.parse import quote as in_path

from pydantic import BaseModel, ValidationError

from services.desk.errors import AnswerNotUnderstood, ContactLost, ServerRefused, ServerUnreachable, WaitedTooLong
from services.desk.estimate_calls import EstimateCalls
from services.desk.intake_calls import IntakeCalls
from services.desk.offer_calls import OfferCalls
from services.desk.patience import answered_in_time
from services.desk.worksheet_calls import WorksheetCalls
from shared_schemas.blanks import JointPurchases
from shared_schemas.by_hand import BuyTogether
from shared_schemas.check import CheckReport
from shared_schemas.prescription import Prescription
from shared_schemas.problem import Problem
from shared_schemas.quote import FINAL_STATUSES, Quote, QuoteAccepted, QuoteDecision
from shared_schemas.quote_list import QuotePage
from shared_schemas.quote_request import QuoteRequest

# httpx loads its own command line, half of what its import takes, where it can; it goes on without where the place is empty.
sys.modules.setdefault("httpx._main", None)  # type: ignore[arg-type]  # None is how an import is told not to look

import httpx  # noqa: E402

if TYPE_CHECKING:
    from shared_schemas.dead_letter import DeadLetterPage
    from shared_schemas.lead_times import Promise, PromiseRequest
    from shared_schemas.load import LoadBook
    from shared_schemas.quote_life import Comparison, DecisionRequest, QuoteBatch, QuoteBatchAccepted
    from shared_schemas.rate_impact import RateImpact, RateImpactAccepted
    from shared_schemas.rates import RevisionList, TablePage

Answer = TypeVar("Answer", bound=BaseModel)

PROBLEM = "application/problem+json"
FIRST_PAUSE_S, LONGEST_PAUSE_S, PAUSE_GROWS_BY = 0.03, 1.0, 1.35
LONGEST_OUTAGE_S = 20.0
"""So long every look may fail while something is awaited; a server that restarts is not a lost quote."""


class BlankwrightClient(EstimateCalls, IntakeCalls, OfferCalls, WorksheetCalls):
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
        return self.asked(CheckReport, "POST", "/v1/prescriptions/check", body=_json(prescription))

    def request_quote(self, request: QuoteRequest, idempotency_key: str | None = None) -> QuoteAccepted:
        """Ask for a quote. The same `idempotency_key` with the same request gets the same quote, however often it is sent."""
        headers = {"Idempotency-Key": idempotency_key} if idempotency_key else {}
        return self.asked(QuoteAccepted, "POST", "/v1/quotes", body=_json(request), headers=headers)

    def requote(
        self, number: str, changes: Mapping[str, Any] | None = None, *, patch: Sequence[Mapping[str, Any]] = (),
        rate_revision: int | None = None, idempotency_key: str | None = None,
    ) -> QuoteAccepted:  # fmt: skip
        """Ask for the next revision of a quote, at the latest rates unless others are named.

        `changes` is a JSON merge patch (RFC 7396) on its request, such as `{"quantities": [10, 50]}`. `patch` are operations of a JSON
        Patch (RFC 6902) that are done after it, with elements by their names, such as
        `{"op": "replace", "path": "/elements/L2/front/form", "value": "3/2(0.5)"}`.
        """
        headers = {"Idempotency-Key": idempotency_key} if idempotency_key else {}
        body = {"changes": dict(changes or {}), "rate_revision": rate_revision} | ({"patch": list(patch)} if patch else {})
        return self.asked(QuoteAccepted, "POST", _place(number, "/requote"), body=body, headers=headers)

    def decide(self, number: str, decision: DecisionRequest) -> QuoteDecision:
        """Record that the customer accepted or declined a quote. The same decision told again gets the same answer."""
        said = decision.model_dump(mode="json", exclude_defaults=True)
        return self.asked(QuoteDecision, "POST", _place(number, "/decision"), body=said)

    def promise(self, number: str, asked: PromiseRequest) -> Promise:
        """When so many of a quote would be ready, if they were ordered today. The quote stays as it is."""
        from shared_schemas.lead_times import Promise  # noqa: PLC0415

        return self.asked(Promise, "POST", _place(number, "/promise"), body=_json(asked))

    def load(self, weeks: int = 13) -> LoadBook:
        """The book of load: booked and free hours by work centre and week."""
        from shared_schemas.load import LoadBook  # noqa: PLC0415

        return self.asked(LoadBook, "GET", "/v1/load", query={"weeks": str(weeks)})

    def compare(self, number: str, with_revision: int, revision: int | None = None) -> Comparison:
        """What changed from `with_revision` to `revision`, the latest unless one is named."""
        from shared_schemas.quote_life import Comparison  # noqa: PLC0415  # who only quotes does not wait for it

        query = {"with": str(with_revision), "revision": _or_none(revision)}
        return self.asked(Comparison, "GET", _place(number, "/compare"), query=query)

    def request_batch(self, requests: Sequence[QuoteRequest], idempotency_key: str | None = None) -> QuoteBatchAccepted:
        """Ask for up to a thousand quotes at once; all are accepted, or none is and `ServerRefused` names what is to be mended."""
        from shared_schemas.quote_life import QuoteBatchAccepted  # noqa: PLC0415

        headers = {"Idempotency-Key": idempotency_key} if idempotency_key else {}
        body = {"requests": [_json(request) for request in requests]}
        return self.asked(QuoteBatchAccepted, "POST", "/v1/quote-batches", body=body, headers=headers)

    def batch(self, number: str, cursor: str | None = None) -> QuoteBatch:
        """How far a batch is, and a page of its quotes."""
        from shared_schemas.quote_life import QuoteBatch  # noqa: PLC0415

        return self.asked(QuoteBatch, "GET", f"/v1/quote-batches/{in_path(number, safe='')}", query={"cursor": cursor})

    def quote(self, number: str, revision: int | None = None) -> Quote:
        """A quote as it stands at this moment, in its latest revision unless one is named."""
        return self.asked(Quote, "GET", _place(number), query={"revision": _or_none(revision)})

    def request_of(self, number: str, revision: int | None = None) -> QuoteRequest:
        """What a quote was asked as, in its latest revision unless one is named."""
        return self.asked(QuoteRequest, "GET", _place(number, "/request"), query={"revision": _or_none(revision)})

    def cancel(self, number: str) -> None:
        """Cancel what is under way of the quote, batch, impact or what-if of that number."""
        place = {"B": "quote-batches", "I": "rates/impact", "W": "what-ifs"}.get(number[:1], "quotes")
        _fine(self._send("DELETE", f"/v1/{place}/{in_path(number, safe='')}"))

    def text(self, kind: str, path: str, query: Mapping[str, str | None]) -> str:
        """What an address answers as text in UTF-8, of a media type."""
        return self.content(kind, path, query).decode()

    def content(self, kind: str, path: str, query: Mapping[str, str | None]) -> bytes:
        """What an address answers as a media type; raises `AnswerNotUnderstood` when it is of another."""
        answer = _fine(self._send("GET", path, query=query, headers={"Accept": f"{kind}, {PROBLEM};q=0.5"}))
        sent = answer.headers.get("Content-Type", "")
        if not sent.startswith(kind):
            why = f"it is {sent or 'of no stated type'}, not {kind}"
            raise AnswerNotUnderstood(str(answer.request.url), answer.status_code, why)
        return answer.content

    def wait_for_batch(
        self, number: str, timeout_s: float = 600.0, on_counts: Callable[[Mapping[str, int]], None] = lambda _: None
    ) -> QuoteBatch:  # fmt: skip
        """The batch when each of its quotes has its outcome. `on_counts` is called whenever the counts have changed.

        Raises `WaitedTooLong`.
        """
        seen: dict[str, int] = {}

        def look() -> tuple[QuoteBatch, str]:
            found = self.batch(number)
            counts = {str(status): count for status, count in found.counts.items()}
            if counts != seen:
                seen.update(counts)
                on_counts(counts)
            return found, found.status

        return self.awaited(look, what="batch", number=number, ends=frozenset({"finished"}), timeout_s=timeout_s)

    def wait_for_quote(
        self, number: str, timeout_s: float = 120.0, on_status: Callable[[str], None] = lambda _: None,
        revision: int | None = None,
    ) -> Quote:  # fmt: skip
        """The quote when it is ready, refused or failed. `on_status` is called with each status that is seen, once.

        Looks often at first and then ever more seldom, once a second at last. Raises `WaitedTooLong`.
        """
        seen = ""

        def look() -> tuple[Quote, str]:
            nonlocal seen
            found = self.quote(number, revision)
            if found.status != seen:
                seen = found.status
                on_status(seen)
            return found, seen

        return self.awaited(look, what="quote", number=number, ends=FINAL_STATUSES, timeout_s=timeout_s)

    def awaited(
        self, look: Callable[[], tuple[Answer, str]], *, what: str, number: str, ends: Collection[str], timeout_s: float
    ) -> Answer:  # fmt: skip
        """What `look` finds when its status is one of `ends`. Raises `WaitedTooLong`, or `ContactLost` when the server stays away."""
        began = heard = self._clock()
        pause, status = FIRST_PAUSE_S, "accepted"
        while True:
            try:
                found, status = look()
            except (ServerUnreachable, ServerRefused) as fault:
                if isinstance(fault, ServerRefused) and fault.status < 500:
                    raise
                if self._clock() - heard >= min(LONGEST_OUTAGE_S, timeout_s):
                    raise ContactLost(number, str(fault), what=what) from fault
            else:
                heard = self._clock()
                if status in ends:
                    return found
            waited = self._clock() - began
            if waited >= timeout_s:
                raise WaitedTooLong(number, status, waited, what=what)
            self._sleep(min(pause, timeout_s - waited))
            pause = min(pause * PAUSE_GROWS_BY, LONGEST_PAUSE_S)

    def quotes(self, cursor: str | None = None, state: str | None = None) -> QuotePage:
        """A page of quotes, newest first; `cursor` is the `next` of the page before, `state` where they stand with the customer."""
        return self.asked(QuotePage, "GET", "/v1/quotes", query={"cursor": cursor, "state": state})

    def buy_together(self, wanted: BuyTogether) -> JointPurchases:
        """What the glass of several lenses costs apart and together."""
        return self.asked(JointPurchases, "POST", "/v1/blanks/buy-together", body=_json(wanted))

    def dead_letters(self, cursor: str | None = None, *, replayed: bool | None = None) -> DeadLetterPage:
        """A page of quotes that failed, newest first; only those that were started anew, or were not, when asked so."""
        from shared_schemas.dead_letter import DeadLetterPage  # noqa: PLC0415

        query = {"cursor": cursor, "replayed": None if replayed is None else str(replayed).lower()}
        return self.asked(DeadLetterPage, "GET", "/v1/dead-letters", query=query)

    def replay(self, letter: int) -> QuoteAccepted:
        """Start the failed quote of a dead letter anew. Raises `ServerRefused` with status 409 when it has not failed."""
        return self.asked(QuoteAccepted, "POST", f"/v1/dead-letters/{letter}/replay")

    def rate_revisions(self, cursor: str | None = None) -> RevisionList:
        """A page of rate revisions, newest first; `cursor` is the `next` of the page before."""
        from shared_schemas.rates import RevisionList  # noqa: PLC0415  # who only quotes does not wait for it

        return self.asked(RevisionList, "GET", "/v1/rates/revisions", query={"cursor": cursor})

    def rate_table(self, table: str) -> tuple[TablePage, str]:
        """A rate table as it stands, and the ETag that a change must show."""
        return self._table("GET", table)

    def put_rate_table(self, table: str, rows: Sequence[Mapping[str, Any]], reason: str, etag: str) -> tuple[TablePage, str]:
        """Replace a rate table, if it is still the one that `etag` names (else `ServerRefused`, 412); the new one and its ETag."""
        return self._table("PUT", table, body=_plain({"rows": list(rows), "reason": reason}), headers={"If-Match": etag})

    def rate_impact(
        self, table: str | None, rows: Sequence[Mapping[str, Any]] | str | None, **chosen: Any
    ) -> RateImpactAccepted:  # fmt: skip
        """Ask what all `rows` of a table (or its CSV), or the draft among the `chosen`, would do to open quotes. Nothing is published."""
        from shared_schemas.rate_impact import RateImpactAccepted  # noqa: PLC0415

        wanted = {name: value for name, value in chosen.items() if value not in (None, False, [])}
        if isinstance(rows, str):
            query = {"table": table, **{name: value if isinstance(value, list) else str(value) for name, value in wanted.items()}}
            headers = {"Content-Type": "text/csv; charset=utf-8"}
            answer = self._send("POST", "/v1/rates/impact", query=query, content=rows.encode(), headers=headers)
        else:
            of_table = {} if rows is None else {"table": table, "rows": list(rows)}
            answer = self._send("POST", "/v1/rates/impact", body=_plain(of_table | wanted))
        return _understood(RateImpactAccepted, _fine(answer))

    def impact(self, number: str, cursor: str | None = None) -> RateImpact:
        """How far an impact is, all its quotes together, and a page of them."""
        from shared_schemas.rate_impact import RateImpact  # noqa: PLC0415

        return self.asked(RateImpact, "GET", f"/v1/rates/impact/{in_path(number, safe='')}", query={"cursor": cursor})

    def wait_for_impact(
        self, number: str, timeout_s: float = 600.0, on_count: Callable[[int], None] = lambda _: None
    ) -> RateImpact:
        """The impact when each of its quotes has its outcome; `on_count` hears how many have. Raises `WaitedTooLong`."""

        def look() -> tuple[RateImpact, str]:
            found = self.impact(number)
            on_count(found.worked_out)
            return found, found.status

        return self.awaited(look, what="impact", number=number, ends=frozenset({"done"}), timeout_s=timeout_s)

    def is_ready(self) -> bool:
        """Whether the server says that it can work."""
        return self._send("GET", "/readyz").status_code == 200

    def parts(self) -> dict[str, str]:
        """What the server says of each part it works with: `yes`, or what is wrong with it."""
        try:
            parts = self._send("GET", "/readyz").json().get("parts", {})
            return {str(name): str(words) for name, words in parts.items()}
        except (ValueError, AttributeError):
            return {"workers": "no: the answer of /readyz cannot be read"}

    def _table(
        self, method: str, table: str, *, body: Any = None, headers: Mapping[str, str] | None = None
    ) -> tuple[TablePage, str]:
        from shared_schemas.rates import TablePage  # noqa: PLC0415

        answer = self._send(method, f"/v1/rates/tables/{in_path(table, safe='')}", body=body, headers=headers)
        return _understood(TablePage, _fine(answer)), answer.headers.get("ETag", "")

    def asked(
        self, kind: type[Answer], method: str, path: str, *, query: Mapping[str, str | list[str] | None] | None = None, body: Any = None,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:  # fmt: skip
        return _understood(kind, _fine(self._send(method, path, query=query, body=body, headers=headers)))

    def fetched(self, method: str, path: str, **more: Any) -> httpx.Response:
        """An answer as it came, for what is no JSON."""
        return _fine(self._send(method, path, **more))

    def _send(
        self, method: str, path: str, *, query: Mapping[str, str | list[str] | None] | None = None, body: Any = None,
        content: bytes | None = None, headers: Mapping[str, str] | None = None,
    ) -> httpx.Response:  # fmt: skip
        query = {name: value for name, value in (query or {}).items() if value is not None}
        sent = {"params": query, "json": body, "content": content, "headers": dict(headers or {})}
        with self._translated():
            return answered_in_time(lambda: self._http.request(method, path, **sent), sleep=self._sleep)

    @contextmanager
    def _translated(self) -> Iterator[None]:
        """Errors of the HTTP library become errors of the desk: here, and nowhere else."""
        try:
            yield
        except httpx.TimeoutException as fault:
            raise ServerUnreachable(self._url, "it did not answer in time") from fault
        except (httpx.RequestError, httpx.InvalidURL) as fault:
            raise ServerUnreachable(self._url, str(fault).rstrip(".") or type(fault).__name__) from fault


def _fine(answer: httpx.Response) -> httpx.Response:
    """The answer, where it is no problem; raises `ServerRefused`."""
    if not answer.is_success:
        raise ServerRefused(_understood(Problem, answer))
    return answer


def _understood(kind: type[Answer], answer: httpx.Response) -> Answer:
    try:
        return kind.model_validate_json(answer.content)
    except ValidationError as fault:
        first = fault.errors(include_url=False, include_input=False)[0]
        place = "/".join(str(step) for step in first["loc"])
        why = f"{place or 'the body'}: {first['msg']}"
        raise AnswerNotUnderstood(str(answer.request.url), answer.status_code, why) from fault


def _place(number: str, below: str = "") -> str:
    return f"/v1/quotes/{in_path(number, safe='')}{below}"


def _or_none(number: int | None) -> str | None:
    return None if number is None else str(number)


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
