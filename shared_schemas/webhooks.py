"""Webhooks: endpoints outside that are told of entries of the feed of estimates, and the deliveries to each.

A secret is in one answer alone, that to whoever made it.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import NO_CONTROLS, Contract, Count, Moment
from shared_schemas.estimate_feed import EntryType

LONGEST_OVERLAP_HOURS = 24 * 7
MOST_URL = 2000

Url = Annotated[str, Field(min_length=1, max_length=MOST_URL, pattern=NO_CONTROLS)]
Description = Annotated[str, Field(max_length=120, pattern=NO_CONTROLS)]
Types = Annotated[tuple[EntryType, ...], Field(max_length=7)]

DeliveryState = Literal["waiting", "delivered", "dead", "failed"]
"""`dead` has been tried for a day; `failed` is a test, which is tried once."""


class WebhookRequest(Contract):
    """An endpoint to be told of what happens from now on: of entries of these `types`, of all where none is named."""

    url: Url
    types: Types = ()
    description: Description = ""


class WebhookChange(Contract):
    """What is to be otherwise; what is not named stays. While an endpoint is paused its entries wait in the feed."""

    url: Url | None = None
    types: Types | None = None
    description: Description | None = None
    paused: Annotated[bool, Field(strict=True)] | None = None


class SecretRotation(Contract):
    """Another secret is to sign. The ones before sign beside it for so many hours more."""

    overlap_hours: Annotated[int, Field(strict=True, ge=0, le=LONGEST_OVERLAP_HOURS)] = 24


class WebhookInfo(Contract):
    """An endpoint and how it stands. `secrets` sign at present; `failures` in a row have made it wait until `next_try_at`.

    `paused_why`: `asked` by somebody, or `gone` where the endpoint has answered 410.
    """

    id: str
    url: str
    types: tuple[EntryType, ...]
    description: str
    created_at: datetime
    created_by: str
    paused_at: datetime | None
    paused_why: Literal["asked", "gone"] | None
    secrets: Count
    failures: Count
    next_try_at: datetime
    waiting: Count
    dead: Count


class WebhookMade(Contract):
    """A secret that was made just now, shown this once, with the endpoint whose messages it signs."""

    secret: str
    info: WebhookInfo


class WebhookPage(Contract):
    """Every endpoint, oldest first."""

    items: tuple[WebhookInfo, ...]
    next: str | None = None


class WebhookDelivery(Contract):
    """One message to one endpoint. `message_id` is its header `webhook-id`, the same however often it is sent; the entry is named by `entry` and `epoch`.

    `last_status` is what the endpoint answered last, `last_fault` why there was no answer that counts.
    """

    id: int
    message_id: str
    type: str
    entry: int | None
    epoch: str | None
    state: DeliveryState
    attempts: Count
    created_at: datetime
    give_up_at: datetime
    last_tried_at: datetime | None
    last_status: int | None
    last_fault: str | None
    settled_at: datetime | None


class WebhookDeliveryPage(Contract):
    """Deliveries to an endpoint, newest first; `next` is the cursor of the page after it."""

    items: tuple[WebhookDelivery, ...]
    next: str | None = None


class ReplayRequest(Contract):
    """Which dead deliveries are to be tried anew: those made from `since` on, all without it."""

    since: Moment | None = None


class Replayed(Contract):
    """How many deliveries wait again."""

    replayed: Count
