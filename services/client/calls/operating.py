"""Calls of whoever runs a server: is it ready, what failed, who may do what, who did what, what is kept."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from services.client.call import Call, call, step, text

if TYPE_CHECKING:
    import httpx

    from shared_schemas.archive import ArchiveDone, ArchivePage, ArchiveRemoval, ArchiveReturn
    from shared_schemas.audit import AuditPage
    from shared_schemas.dead_letter import DeadLetterPage
    from shared_schemas.keys import KeyInfo, KeyMade, KeyPage, KeyRequest, KeyRotation
    from shared_schemas.quote import QuoteAccepted


def dead_letters(cursor: str | None = None, *, replayed: bool | None = None) -> Call[DeadLetterPage]:
    """A page of quotes that failed, newest first; only those that were started anew, or were not, when asked so."""
    from shared_schemas.dead_letter import DeadLetterPage

    return call(DeadLetterPage, "GET", "/v1/dead-letters", query={"cursor": cursor, "replayed": replayed})


def replay(letter: int) -> Call[QuoteAccepted]:
    """Start the failed quote of a dead letter anew. Raises `ServerRefused` with status 409 when it has not failed."""
    from shared_schemas.quote import QuoteAccepted

    return call(QuoteAccepted, "POST", f"/v1/dead-letters/{letter}/replay")


def keys(cursor: str | None = None, limit: int | None = None) -> Call[KeyPage]:
    """A page of keys that are good; none of them can be read back."""
    from shared_schemas.keys import KeyPage

    return call(KeyPage, "GET", "/v1/keys", query={"cursor": cursor, "limit": limit})


def make_key(wanted: KeyRequest | Mapping[str, Any]) -> Call[KeyMade]:
    """Another key, told this once."""
    from shared_schemas.keys import KeyMade

    return call(KeyMade, "POST", "/v1/keys", body=wanted)


def key(key_id: str) -> Call[KeyInfo]:
    """What a key may do, and when it was used last."""
    from shared_schemas.keys import KeyInfo

    return call(KeyInfo, "GET", f"/v1/keys/{step(key_id)}")


def rotate_key(key_id: str, asked: KeyRotation | None = None) -> Call[KeyMade]:
    """A key in the place of another, which stays good for some hours."""
    from shared_schemas.keys import KeyMade

    return call(KeyMade, "POST", f"/v1/keys/{step(key_id)}/rotate", body=asked)


def revoke_key(key_id: str) -> Call[KeyInfo]:
    """Revoke a key: within five seconds it is good nowhere."""
    from shared_schemas.keys import KeyInfo

    return call(KeyInfo, "DELETE", f"/v1/keys/{step(key_id)}")


def audit(
    cursor: str | None = None, *, after: str | None = None, action: str | None = None, subject: str | None = None, key: str | None = None,
    limit: int | None = None,
) -> Call[AuditPage]:  # fmt: skip
    """A page of the audit log, newest first; oldest first with `after`, which is "0" at the beginning."""
    from shared_schemas.audit import AuditPage

    query = {"cursor": cursor, "after": after, "action": action, "subject": subject, "key": key, "limit": limit}
    return call(AuditPage, "GET", "/v1/audit", query=query)


def audit_lines(after: str | None = None) -> Call[str]:
    """The audit log as lines of JSON, oldest first."""
    return text("application/jsonl", "/v1/audit/export", {"after": after})


def archivable(cursor: str | None = None, *, before: date) -> Call[ArchivePage]:
    """A page of the quotes that were settled before a day, with their documents."""
    from shared_schemas.archive import ArchivePage

    return call(ArchivePage, "GET", "/v1/archive", query={"before": before, "cursor": cursor})


def remove_archived(asked: ArchiveRemoval) -> Call[ArchiveDone]:
    """Remove documents that an archive has."""
    from shared_schemas.archive import ArchiveDone

    return call(ArchiveDone, "POST", "/v1/archive/removals", body=asked)


def return_archived(asked: ArchiveReturn) -> Call[ArchiveDone]:
    """Put documents of an archive back, where their digests agree."""
    from shared_schemas.archive import ArchiveDone

    return call(ArchiveDone, "POST", "/v1/archive/returns", body=asked)


def is_ready() -> Call[bool]:
    """Whether the server says that it can work."""
    return Call(method="GET", path="/readyz", reads=lambda answer: answer.status_code == 200, reads_any_status=True)


def parts() -> Call[dict[str, str]]:
    """What the server says of each part it works with: `yes`, or what is wrong with it."""
    return Call(method="GET", path="/readyz", reads=_parts, reads_any_status=True)


def _parts(answer: httpx.Response) -> dict[str, str]:
    try:
        return {str(name): str(words) for name, words in answer.json().get("parts", {}).items()}
    except (ValueError, AttributeError):
        return {"workers": "no: the answer of /readyz cannot be read"}
