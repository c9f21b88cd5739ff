"""One box for the whole tier, as `make up` starts it, and clients of every role."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from services.chassis.one_box import Address, erase, start, stop
from tests.system.asking import ask, finished

DEMO = Path(__file__).resolve().parents[2] / "services" / "desk" / "demo"


@pytest.fixture(scope="session")
def box(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Address]:
    folder = tmp_path_factory.mktemp("one-box")
    yield start(folder)
    stop(folder)
    erase(folder)


@pytest.fixture(scope="session")
def client_of(box: Address) -> Iterator[Callable[[str | None], httpx.Client]]:
    """`client_of(role)` is a client with that role's key, `client_of(None)` one without a key."""
    clients: dict[str | None, httpx.Client] = {}

    def client(role: str | None) -> httpx.Client:
        if role not in clients:
            headers = {"Authorization": f"Bearer {box.keys[role]}"} if role else {}
            clients[role] = httpx.Client(base_url=box.url, headers=headers, timeout=30)
        return clients[role]

    yield client
    for made in clients.values():
        made.close()


@pytest.fixture(scope="session")
def sales(client_of: Callable[[str | None], httpx.Client]) -> httpx.Client:
    return client_of("sales")


@pytest.fixture
def demo() -> dict[str, Any]:
    """The demo request, fresh for each test to change."""
    (found,) = DEMO.glob("lake_*.json")
    request: dict[str, Any] = json.loads(found.read_text(encoding="utf-8"))
    return request


@pytest.fixture(scope="session")
def quoted() -> Callable[..., dict[str, Any]]:
    """`quoted(sales, request)` asks and waits for the outcome."""
    return lambda sales, request, **options: finished(sales, ask(sales, request), **options)
