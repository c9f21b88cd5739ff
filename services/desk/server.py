"""The server that a command speaks to."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from services.client import Client


def client_of(url: str, key: str | None, *, timeout_s: float = 30.0) -> Client:
    """A client of the server at `url`; HTTP is loaded now, as only now there is somebody to ask."""
    # httpx loads its own command line, half of what its import takes, where it can; it goes on without where the place is empty.
    sys.modules.setdefault("httpx._main", None)  # type: ignore[arg-type]  # None is how an import is told not to look
    from services.client import Client  # noqa: PLC0415

    return Client(url=url, key=key or "", timeout_s=timeout_s)
