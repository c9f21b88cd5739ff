"""Calls about the shop: its load, dates and orders, and the job estimates that an ERP plans from."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from services.client.call import Call, call, step, text

if TYPE_CHECKING:
    from shared_schemas.accuracy import Accuracy
    from shared_schemas.actuals import Actuals, ActualsKept, ActualsTaken
    from shared_schemas.estimate import Estimate, EstimatePart, EstimatePlan
    from shared_schemas.estimate_feed import EstimatePage
    from shared_schemas.lead_times import Promise, PromiseRequest
    from shared_schemas.load import LoadBook, LoadPut, LoadSnapshot, LoadSnapshotPage, OrderInBook, OrderPage
    from shared_schemas.order_events import OrderEventPage
    from shared_schemas.win_rate import WinRate

CSV, SVG = "text/csv", "image/svg+xml"


def promise(number: str, asked: PromiseRequest) -> Call[Promise]:
    """When so many of a quote would be ready, if they were ordered today. The quote stays as it is."""
    from shared_schemas.lead_times import Promise

    return call(Promise, "POST", f"/v1/quotes/{step(number)}/promise", body=asked, repeatable=True)


def load(weeks: int = 13) -> Call[LoadBook]:
    """The book of load: booked and free hours by work centre and week."""
    from shared_schemas.load import LoadBook

    return call(LoadBook, "GET", "/v1/load", query={"weeks": weeks})


def put_load(load: LoadPut) -> Call[LoadBook]:
    """Replace what an ERP has booked beside the orders of quotes."""
    from shared_schemas.load import LoadBook

    return call(LoadBook, "PUT", "/v1/load", body=load)


def load_snapshots(cursor: str | None = None, limit: int | None = None) -> Call[LoadSnapshotPage]:
    """A page of load snapshots, newest first."""
    from shared_schemas.load import LoadSnapshotPage

    return call(LoadSnapshotPage, "GET", "/v1/load/snapshots", query={"cursor": cursor, "limit": limit})


def load_snapshot(number: int) -> Call[LoadSnapshot]:
    """The book of load as quotes were dated by it."""
    from shared_schemas.load import LoadSnapshot

    return call(LoadSnapshot, "GET", f"/v1/load/snapshots/{number}")


def estimates(
    after: str | None = None,
    *,
    types: Sequence[str] = (),
    since: str | None = None,
    wait_s: int | None = None,
    limit: int | None = None,
) -> Call[EstimatePage]:
    """A page of the feed of job estimates, oldest first: `after` is the cursor to go on from, `wait_s` how long it may wait for an entry."""
    from shared_schemas.estimate_feed import EstimatePage

    query = {"after": after, "since": since, "type": list(types) or None, "limit": limit}
    headers = {"Prefer": f"wait={wait_s}"} if wait_s else None
    return call(EstimatePage, "GET", "/v1/estimates", query=query, headers=headers, wait_for_answer_s=wait_s or 0)


def estimate(number: str, quantity: int | None = None) -> Call[Estimate]:
    """One job estimate in full: every quantity that was quoted, or one of them, and the routes with what explains them."""
    from shared_schemas.estimate import Estimate

    return call(Estimate, "GET", f"/v1/estimates/{step(number)}", query={"quantity": quantity})


def estimate_plan(number: str, quantity: int | None = None) -> Call[EstimatePlan]:
    """One job estimate to plan from: the quantity that is ordered, if one is and no other is named."""
    from shared_schemas.estimate import EstimatePlan

    return call(EstimatePlan, "GET", f"/v1/estimates/{step(number)}", query={"view": "plan", "quantity": quantity})


def estimate_csv(number: str, part: EstimatePart = "operations", quantity: int | None = None) -> Call[str]:
    """One list of a job estimate as CSV."""
    return text(CSV, f"/v1/estimates/{step(number)}", {"part": part, "quantity": quantity})


def orders(cursor: str | None = None, limit: int | None = None) -> Call[OrderPage]:
    """A page of accepted orders, newest first: done, late, and when they will be ready."""
    from shared_schemas.load import OrderPage

    return call(OrderPage, "GET", "/v1/orders", query={"cursor": cursor, "limit": limit})


def order(number: str) -> Call[OrderInBook]:
    """How far an order is."""
    from shared_schemas.load import OrderInBook

    return call(OrderInBook, "GET", f"/v1/orders/{step(number)}")


def cancel_order(number: str, asked: Any = None) -> Call[OrderInBook]:
    """Cancel an order; `asked` is a `CancellationRequest`, where more is to be said."""
    from shared_schemas.load import OrderInBook

    return call(OrderInBook, "POST", f"/v1/orders/{step(number)}/cancellation", body=asked)


def complete_order(number: str) -> Call[OrderInBook]:
    """Say that an order is delivered."""
    from shared_schemas.load import OrderInBook

    return call(OrderInBook, "POST", f"/v1/orders/{step(number)}/completion")


def order_events(after: str | None = None, limit: int | None = None) -> Call[OrderEventPage]:
    """What happened to orders, oldest first: cancelled, completed, rescheduled."""
    from shared_schemas.order_events import OrderEventPage

    return call(OrderEventPage, "GET", "/v1/order-events", query={"after": after, "limit": limit})


def report_actuals(
    number: str, report: Actuals | bytes, *, media_type: str = CSV, idempotency_key: str | None = None
) -> Call[ActualsTaken]:  # fmt: skip
    """Report what operations of an order took; as a contract, or as bytes of a media type."""
    from shared_schemas.actuals import ActualsTaken

    place = f"/v1/orders/{step(number)}/actuals"
    if isinstance(report, bytes):
        headers = {"Content-Type": media_type}
        return call(ActualsTaken, "POST", place, content=report, headers=headers, keyed=True, key=idempotency_key)
    return call(ActualsTaken, "POST", place, body=report, keyed=True, key=idempotency_key)


def actuals(number: str) -> Call[ActualsKept]:
    """What was reported of an order, as it was taken."""
    from shared_schemas.actuals import ActualsKept

    return call(ActualsKept, "GET", f"/v1/orders/{step(number)}/actuals")


def accuracy(since: date | str | None = None, until: date | str | None = None) -> Call[Accuracy]:
    """Quoted against actual hours, cost, yield and days of the orders that are finished."""
    from shared_schemas.accuracy import Accuracy

    return call(Accuracy, "GET", "/v1/accuracy", query={"since": since, "until": until})


def accuracy_csv(since: date | str | None = None, until: date | str | None = None) -> Call[str]:
    """`accuracy` as CSV."""
    return text(CSV, "/v1/accuracy", {"since": since, "until": until})


def accuracy_chart(
    chart: str, measure: str | None = None, since: date | str | None = None, until: date | str | None = None
) -> Call[str]:
    """`accuracy` drawn, as SVG."""
    return text(SVG, "/v1/accuracy", {"since": since, "until": until, "chart": chart, "measure": measure})


def win_rate(since: date | str | None = None, until: date | str | None = None) -> Call[WinRate]:
    """How many of the decided quotes were won, and at which mark-up."""
    from shared_schemas.win_rate import WinRate

    return call(WinRate, "GET", "/v1/win-rate", query={"since": since, "until": until})


def win_rate_csv(since: date | str | None = None, until: date | str | None = None) -> Call[str]:
    """`win_rate` as CSV."""
    return text(CSV, "/v1/win-rate", {"since": since, "until": until})


def win_rate_chart(chart: str, since: date | str | None = None, until: date | str | None = None) -> Call[str]:
    """`win_rate` drawn, as SVG."""
    return text(SVG, "/v1/win-rate", {"since": since, "until": until, "chart": chart})
