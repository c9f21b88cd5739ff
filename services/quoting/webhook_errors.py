"""What can go wrong with endpoints of webhooks and their deliveries.

QuotingError
├── WebhookUnknown      no endpoint of that id
├── WebhookUrlRefused   an endpoint where nothing may be sent
├── WebhooksEnough      as many endpoints as may be
├── DeliveryUnknown     the endpoint has no delivery of that number
└── DeliveryNotDead     only a dead delivery is tried anew
"""

from __future__ import annotations

from services.quoting.errors import QuotingError
from shared_schemas.problem import Explained, ProblemDetail


class WebhookUnknown(QuotingError):
    """No endpoint of that id."""

    def __init__(self, endpoint: str) -> None:
        super().__init__(f"There is no endpoint {endpoint[:40]}; the list at /v1/webhooks names those there are.")


class WebhookUrlRefused(QuotingError):
    """An endpoint where nothing may be sent; `why` says what is wrong with it."""

    def __init__(self, url: str, why: str) -> None:
        self.why = why
        remedy = "an address of https on the open network; an administrator of the server can allow others (BLANKWRIGHT_WEBHOOK_NETWORKS)"
        super().__init__(
            f"Nothing is sent there: {why}.",
            ProblemDetail(pointer="/url", reason=why, figure=url[:200], limit="a public address of https", remedy=remedy),
        )


class WebhooksEnough(QuotingError):
    """There are as many endpoints as there may be."""

    def __init__(self, most: int) -> None:
        super().__init__(
            f"There are {most} endpoints, and no more may be. Remove one that is not needed (DELETE /v1/webhooks/{{id}})."
        )


class DeliveryUnknown(QuotingError):
    """The endpoint has no delivery of that number, or no longer."""

    def __init__(self, endpoint: str, delivery: int) -> None:
        super().__init__(f"The endpoint {endpoint[:40]} has no delivery {delivery}; settled ones are kept for some weeks only.")


class DeliveryNotDead(QuotingError):
    """A delivery that waits or was taken is not tried anew."""

    def __init__(self, delivery: int, state: str) -> None:
        super().__init__(f"The delivery {delivery} is {state}; only a dead one is tried anew.")


STATUS: dict[type[Explained], tuple[int, str, str]] = {
    WebhookUnknown: (404, "not-found", "There is no such endpoint"),
    WebhookUrlRefused: (422, "invalid", "Nothing is sent there"),
    WebhooksEnough: (409, "conflict", "There are endpoints enough"),
    DeliveryUnknown: (404, "not-found", "There is no such delivery"),
    DeliveryNotDead: (409, "not-replayable", "The delivery is not dead"),
}
"""How callers are told of them."""
