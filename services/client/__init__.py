"""The client of a Blankwright server: blocking and asynchronous, on httpx and pydantic alone.

`errors` are there without the HTTP library, which loads with the first name of a client.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from services.client.client import AsyncClient, Client
    from services.client.patience import Patience

__all__ = ["AsyncClient", "Client", "Patience"]


def __getattr__(name: str) -> object:
    if name == "Patience":
        from services.client.patience import Patience  # noqa: PLC0415

        return Patience
    if name in __all__:
        from services.client import client  # noqa: PLC0415

        return getattr(client, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
