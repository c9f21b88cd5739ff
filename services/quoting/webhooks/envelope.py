"""The body of a message: a CloudEvents envelope around the entry of the feed, whose bytes stand in it as the feed has them.

`id` names the entry by its epoch and its id, and with `source` is the same however often the message is sent, to whichever endpoint;
`entrylink` is where the feed has it. The same entry makes the same bytes.

Source:
    Cloud Native Computing Foundation, CloudEvents 1.0.2, and its JSON Event Format, section 3, "Envelope".
"""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import quote

CONTENT_TYPE = "application/cloudevents+json; charset=utf-8"
TEST_TYPE = "webhook.test.v1"


@dataclass(frozen=True)
class Envelope:
    """What stands around the data: `link` is where the feed has the entry, if it is one."""

    message_id: str
    source: str
    type: str
    at: datetime
    subject: str
    link: str | None = None

    def around(self, data: bytes) -> bytes:
        """The whole body, with `data` (JSON) byte for byte at its end."""
        attributes = {
            "specversion": "1.0",
            "id": self.message_id,
            "source": self.source,
            "type": self.type,
            "subject": self.subject,
            "time": self.at.astimezone(UTC).isoformat().replace("+00:00", "Z"),
            "datacontenttype": "application/json",
        } | ({"entrylink": self.link} if self.link else {})
        head = json.dumps(attributes, ensure_ascii=False, separators=(",", ":")).encode()
        return head[:-1] + b',"data":' + data + b"}"


def type_of(entry_type: str) -> str:
    """The type of an event, by that of its entry."""
    return f"estimate.{entry_type}.v1"


def source_of(deployment: str) -> str:
    """Which feed it is."""
    return f"/{quote(deployment)}/v1/estimates"


def entry_link(epoch: str, position: int) -> str:
    """The page of the feed that has the entry and nothing else: the cursor is that of the place before it, in its epoch."""
    cursor = base64.urlsafe_b64encode(f"e{position - 1}@{epoch}".encode()).decode().rstrip("=")
    return f"/v1/estimates?after={cursor}&limit=1"
