"""Calls about webhooks: who outside is told of what happens, and what they did not take."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from services.client.call import Call, call, step

if TYPE_CHECKING:
    from shared_schemas.webhooks import (
        Replayed,
        WebhookChange,
        WebhookDelivery,
        WebhookDeliveryPage,
        WebhookInfo,
        WebhookMade,
        WebhookPage,
        WebhookRequest,
    )

PLACE = "/v1/webhooks"


def webhooks() -> Call[WebhookPage]:
    """Every endpoint, with what waits for it and what it never took."""
    from shared_schemas.webhooks import WebhookPage

    return call(WebhookPage, "GET", PLACE)


def make_webhook(wanted: WebhookRequest | Mapping[str, Any]) -> Call[WebhookMade]:
    """Have an endpoint told of what happens from now on; the secret that signs its messages is told this once."""
    from shared_schemas.webhooks import WebhookMade

    return call(WebhookMade, "POST", PLACE, body=wanted)


def webhook(endpoint: str) -> Call[WebhookInfo]:
    """One endpoint."""
    from shared_schemas.webhooks import WebhookInfo

    return call(WebhookInfo, "GET", _place(endpoint))


def change_webhook(endpoint: str, change: WebhookChange) -> Call[WebhookInfo]:
    """Change an endpoint; what is not said stays."""
    from shared_schemas.webhooks import WebhookInfo

    return call(WebhookInfo, "PATCH", _place(endpoint), body=change.model_dump(mode="json", exclude_unset=True))


def remove_webhook(endpoint: str) -> Call[WebhookInfo]:
    """Remove an endpoint with all that waits for it."""
    from shared_schemas.webhooks import WebhookInfo

    return call(WebhookInfo, "DELETE", _place(endpoint))


def rotate_webhook_secret(endpoint: str, overlap_hours: int = 24) -> Call[WebhookMade]:
    """Another secret, told this once; the old one signs beside it for some hours."""
    from shared_schemas.webhooks import WebhookMade

    return call(WebhookMade, "POST", _place(endpoint, "/rotate"), body={"overlap_hours": overlap_hours})


def try_webhook(endpoint: str) -> Call[WebhookDelivery]:
    """Send a message of no meaning; read later how it went."""
    from shared_schemas.webhooks import WebhookDelivery

    return call(WebhookDelivery, "POST", _place(endpoint, "/test"))


def webhook_deliveries(
    endpoint: str, cursor: str | None = None, *, state: str | None = None, limit: int | None = None
) -> Call[WebhookDeliveryPage]:
    """A page of deliveries, newest first; of one state, when asked so."""
    from shared_schemas.webhooks import WebhookDeliveryPage

    query = {"cursor": cursor, "state": state, "limit": limit}
    return call(WebhookDeliveryPage, "GET", _place(endpoint, "/deliveries"), query=query)


def webhook_delivery(endpoint: str, delivery: str | int) -> Call[WebhookDelivery]:
    """One delivery."""
    from shared_schemas.webhooks import WebhookDelivery

    return call(WebhookDelivery, "GET", _place(endpoint, f"/deliveries/{step(delivery)}"))


def replay_webhook_delivery(endpoint: str, delivery: str | int) -> Call[WebhookDelivery]:
    """Try a delivery anew."""
    from shared_schemas.webhooks import WebhookDelivery

    return call(WebhookDelivery, "POST", _place(endpoint, f"/deliveries/{step(delivery)}/replay"))


def replay_webhook_deliveries(endpoint: str, since: datetime | None = None) -> Call[Replayed]:
    """Try all dead deliveries anew, or those since a moment."""
    from shared_schemas.webhooks import Replayed

    return call(Replayed, "POST", _place(endpoint, "/replay"), body={"since": since} if since else {})


def _place(endpoint: str, below: str = "") -> str:
    return f"{PLACE}/{step(endpoint)}{below}"
