"""Routes of webhooks. Where data goes to is an administrator's to say; an ERP sees whether it arrives, tests, and has dead deliveries tried anew."""

from __future__ import annotations

import secrets
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.keys import Caller
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers, needs_role
from services.quoting.api.parts import Erp, Most, Now, cursor_of, read_cursor
from services.quoting.store.webhook_deliveries import Deliveries
from services.quoting.store.webhooks import NewEndpoint, Webhooks
from services.quoting.webhook_errors import WebhookUrlRefused
from services.quoting.webhooks.signing import new_secret
from services.quoting.webhooks.targets import TargetRefused, guard_of
from shared_schemas.webhooks import (
    DeliveryState,
    Replayed,
    ReplayRequest,
    SecretRotation,
    WebhookChange,
    WebhookDelivery,
    WebhookDeliveryPage,
    WebhookInfo,
    WebhookMade,
    WebhookPage,
    WebhookRequest,
)

router = APIRouter(route_class=CheckedRoute)

Admin = Annotated[Caller, Depends(needs_role())]
Endpoint = Annotated[str, Path(max_length=40, pattern=r"^wh_[0-9a-f]+$", description="The id of an endpoint.")]
Number = Annotated[int, Path(ge=1, le=2**63 - 1, description="The id of a delivery.")]
PLACE = "/v1/webhooks"
OF_BODIES = ("not-json", "invalid", "body-too-large", "unsupported-media-type")


@router.post(
    PLACE,
    status_code=201,
    summary="Have an endpoint told of what happens to estimates from now on. Its secret is shown in this answer and never again",
    response_model=WebhookMade,
    responses=answers(*OF_BODIES, "conflict"),
)
def make_webhook(asked: WebhookRequest, caller: Admin, tools: Tools, now: Now, answer: Response) -> WebhookMade:
    """Its address must be https and lead to the open network, unless the settings allow others; that is looked up now and at each delivery."""
    _refuse_target(asked.url, tools)
    secret = new_secret()
    new = NewEndpoint(f"wh_{secrets.token_hex(8)}", asked.url, tuple(dict.fromkeys(asked.types)), asked.description)
    info = Webhooks(tools.database).add(new, secret, by=caller.key_id, now=now, most=tools.settings.most_webhooks)
    answer.headers["Location"] = f"{PLACE}/{info.id}"
    return WebhookMade(secret=secret, info=info)


@router.get(
    PLACE, summary="Every endpoint, and how many deliveries wait and are dead", response_model=WebhookPage, responses=answers()
)
def list_webhooks(caller: Erp, tools: Tools, now: Now) -> WebhookPage:
    return WebhookPage(items=Webhooks(tools.database).every(now=now))


@router.get(PLACE + "/{endpoint}", summary="One endpoint", response_model=WebhookInfo, responses=answers("not-found", "invalid"))
def get_webhook(endpoint: Endpoint, caller: Erp, tools: Tools, now: Now) -> WebhookInfo:
    return Webhooks(tools.database).one(endpoint, now=now)


@router.patch(
    PLACE + "/{endpoint}",
    summary="Change address, types or description of an endpoint; pause it or let it go on",
    response_model=WebhookInfo,
    responses=answers(*OF_BODIES, "not-found"),
)
def change_webhook(endpoint: Endpoint, asked: WebhookChange, caller: Admin, tools: Tools, now: Now) -> WebhookInfo:
    """While it is paused, entries wait in the feed: when it goes on it is told of all of them."""
    changes = {name: getattr(asked, name) for name in asked.model_fields_set if getattr(asked, name) is not None}
    if "url" in changes:
        _refuse_target(changes["url"], tools)
    if "types" in changes:
        changes["types"] = tuple(dict.fromkeys(changes["types"]))
    webhooks = Webhooks(tools.database)
    return webhooks.change(endpoint, changes, now=now) if changes else webhooks.one(endpoint, now=now)


@router.delete(
    PLACE + "/{endpoint}",
    summary="Remove an endpoint, its secrets and its deliveries",
    response_model=WebhookInfo,
    responses=answers("not-found", "invalid"),
)
def remove_webhook(endpoint: Endpoint, caller: Admin, tools: Tools, now: Now) -> WebhookInfo:
    """The answer is the endpoint as it was."""
    return Webhooks(tools.database).remove(endpoint, now=now)


@router.post(
    PLACE + "/{endpoint}/rotate",
    status_code=201,
    summary="Make another secret; the one before signs beside it for some hours",
    response_model=WebhookMade,
    responses=answers(*OF_BODIES, "not-found"),
)
def rotate_webhook_secret(
    endpoint: Endpoint, caller: Admin, tools: Tools, now: Now, asked: SecretRotation | None = None
) -> WebhookMade:
    secret = new_secret()
    overlap_h = (asked or SecretRotation()).overlap_hours
    return WebhookMade(secret=secret, info=Webhooks(tools.database).rotate(endpoint, secret, overlap_h=overlap_h, now=now))


@router.post(
    PLACE + "/{endpoint}/test",
    status_code=202,
    summary="Send the endpoint a message that tells of nothing, once, also while it is paused",
    response_model=WebhookDelivery,
    responses=answers("not-found", "invalid"),
)
def test_webhook(endpoint: Endpoint, caller: Erp, tools: Tools, now: Now, answer: Response) -> WebhookDelivery:
    """What became of it stands at the address in Location some seconds later: `delivered`, or `failed`."""
    delivery = Deliveries(tools.database).add_test(endpoint, now=now)
    answer.headers["Location"] = f"{PLACE}/{endpoint}/deliveries/{delivery.id}"
    answer.headers["Retry-After"] = "5"
    return delivery


@router.get(
    PLACE + "/{endpoint}/deliveries",
    summary="Deliveries to an endpoint, newest first",
    response_model=WebhookDeliveryPage,
    responses=answers("not-found", "invalid", "gone"),
)
def list_webhook_deliveries(
    endpoint: Endpoint,
    caller: Erp,
    tools: Tools,
    cursor: Annotated[str | None, Query(description="The `next` of the page before.")] = None,
    limit: Most = 50,
    state: Annotated[DeliveryState | None, Query(description="Only those; `dead` were given up on after a day.")] = None,
) -> WebhookDeliveryPage:
    found = Deliveries(tools.database).page(endpoint, before=read_cursor(tools, "w", cursor), most=limit + 1, state=state)
    more = cursor_of(tools, "w", found[limit - 1].id) if len(found) > limit else None
    return WebhookDeliveryPage(items=tuple(found[:limit]), next=more)


@router.get(
    PLACE + "/{endpoint}/deliveries/{delivery}",
    summary="One delivery",
    response_model=WebhookDelivery,
    responses=answers("not-found", "invalid"),
)
def get_webhook_delivery(endpoint: Endpoint, delivery: Number, caller: Erp, tools: Tools) -> WebhookDelivery:
    return Deliveries(tools.database).one(endpoint, delivery)


@router.post(
    PLACE + "/{endpoint}/deliveries/{delivery}/replay",
    status_code=202,
    summary="Try a dead delivery anew, for a day",
    response_model=WebhookDelivery,
    responses=answers("not-found", "not-replayable", "invalid"),
)
def replay_webhook_delivery(endpoint: Endpoint, delivery: Number, caller: Erp, tools: Tools, now: Now) -> WebhookDelivery:
    """It goes before those that wait, as it is older, under the `webhook-id` that it had."""
    return Deliveries(tools.database).replay(endpoint, delivery, now=now)


@router.post(
    PLACE + "/{endpoint}/replay",
    status_code=202,
    summary="Try every dead delivery of an endpoint anew, or those made since a moment",
    response_model=Replayed,
    responses=answers(*OF_BODIES, "not-found"),
)
def replay_webhook_deliveries(
    endpoint: Endpoint, caller: Erp, tools: Tools, now: Now, asked: ReplayRequest | None = None
) -> Replayed:
    since = asked.since if asked else None
    return Replayed(replayed=Deliveries(tools.database).replay_since(endpoint, since, now=now))


def _refuse_target(url: str, tools: Resources) -> None:
    """Raise `WebhookUrlRefused` for an address where nothing may be sent."""
    guard = guard_of(tools.settings)
    try:
        target = guard.target(url)
        guard.addresses(target.raw_host.decode("ascii"), target.port or 443)
    except TargetRefused as fault:
        raise WebhookUrlRefused(url, str(fault)) from fault
