"""Secrets of endpoints, and the headers of a message that they sign.

By the package `standardwebhooks`, which is the reference of the specification in Python, brings no other package along and is looked after. A
secret is 32 random bytes; while it is exchanged the message carries a signature by each that is good, the newest first.

Source:
    Standard Webhooks, specification 1.0.0, "Signature scheme" and "Webhook headers",
    github.com/standard-webhooks/standard-webhooks/blob/main/spec/standard-webhooks.md.
"""

from __future__ import annotations

import base64
import secrets
from collections.abc import Sequence
from datetime import UTC, datetime

from standardwebhooks import Webhook

PREFIX = "whsec_"
SECRET_BYTES = 32


def new_secret() -> str:
    """A fresh secret."""
    return PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def signed_headers(good: Sequence[str], *, message_id: str, at: datetime, body: bytes) -> dict[str, str]:
    """The headers of a message that is sent at a moment, signed by every secret in `good`. No `.` may be in `message_id`."""
    moment = at.astimezone(UTC)
    signatures = [Webhook(secret).sign(message_id, moment, body.decode()) for secret in good]
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(int(moment.timestamp())),
        "webhook-signature": " ".join(signatures),
    }
