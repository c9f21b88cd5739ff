"""The client of a Blankwright server: blocking and asynchronous, on httpx and pydantic alone.

What can go wrong stands in `errors`. The HTTP library loads with the first of the clients, so that who only catches errors does not wait for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from services.client.errors import ClientError
from services.client.patience import Patience

if TYPE_CHECKING:
    from services.client.client import AsyncClient, Client

__all__ = ["AsyncClient", "Client", "ClientError", "Patience"]


def __getattr__(name: str) -> object:
    if name in ("AsyncClient", "Client"):
        from services.client import client  # noqa: PLC0415

        return getattr(client, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
