"""Calls of whoever runs a server: is it ready, what failed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from services.client.call import Call, call

if TYPE_CHECKING:
    import httpx

    from shared_schemas.dead_letter import DeadLetterPage
    from shared_schemas.quote import QuoteAccepted


def dead_letters(cursor: str | None = None, *, replayed: bool | None = None) -> Call[DeadLetterPage]:
    """A page of quotes that failed, newest first; only those that were started anew, or were not, when asked so."""
    from shared_schemas.dead_letter import DeadLetterPage

    return call(DeadLetterPage, "GET", "/v1/dead-letters", query={"cursor": cursor, "replayed": replayed})


def replay(letter: int) -> Call[QuoteAccepted]:
    """Start the failed quote of a dead letter anew. Raises `ServerRefused` with status 409 when it has not failed."""
    from shared_schemas.quote import QuoteAccepted

    return call(QuoteAccepted, "POST", f"/v1/dead-letters/{letter}/replay")


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
