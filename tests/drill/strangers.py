"""Who asks without a key, and who asks for as much as is allowed, while others go on with their day."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from urllib.parse import urlsplit

import httpx

from services.chassis.database import Database
from services.chassis.keys import Keys
from shared_schemas.quote import FINAL_STATUSES
from shared_schemas.quote_request import QuoteRequest
from tests.bench.lenses import chain_of_lenses
from tests.drill.asked import distinct_requests
from tests.drill.box import Box

STRANGERS = 64
BODY_BYTES = 16 * 1024 * 1024
BOMB = "Bomb"
"""The customer of quotes that are nobody's."""

READY_WITHIN_S = 120.0


def strangers_at_once(box: Box) -> str:
    """Sixty-four without a key who would each send 16 MiB: how soon they are answered, and what they cost."""
    api = box.process("api")
    before_mb = api.memory_info().rss / 2**20
    answers: list[tuple[str, float]] = []
    threads = [threading.Thread(target=_stranger, args=(box.url, answers), daemon=True) for _ in range(STRANGERS)]
    for thread in threads:
        thread.start()
    health_s = _seconds_for_health(box)
    for thread in threads:
        thread.join(30)
    slowest_s = max((took_s for _, took_s in answers), default=30.0)
    said = {status: sum(one == status for one, _ in answers) for status, _ in answers}
    grown_mb = api.memory_info().rss / 2**20 - before_mb
    if set(said) - {"401", "429"} or len(answers) != STRANGERS:
        raise TimeoutError(f"{len(answers)} of {STRANGERS} strangers were answered: {said}")
    return f"{said}, slowest {1000 * slowest_s:.0f} ms, health meanwhile {1000 * health_s:.0f} ms, memory {grown_mb:+.0f} MB"


def _stranger(url: str, answers: list[tuple[str, float]]) -> None:
    parts = urlsplit(url)
    with socket.create_connection((str(parts.hostname), int(parts.port or 80)), timeout=20) as connection:
        began = time.perf_counter()
        head = (
            f"POST /v1/quote-batches HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: {BODY_BYTES}\r\n\r\n"
        )
        connection.sendall(head.encode() + b"[" * 65536)
        line = connection.recv(64)
        answers.append((line.split(b" ")[1].decode() if b" " in line else "?", time.perf_counter() - began))


def _seconds_for_health(box: Box) -> float:
    began = time.perf_counter()
    httpx.get(f"{box.url}/livez", timeout=20).raise_for_status()
    return time.perf_counter() - began


def bomb(elements: int = 24, quantities: int = 8) -> bytes:
    """A request of about as much work as one may be."""
    asked = QuoteRequest(
        prescription=chain_of_lenses(elements), quantities=tuple(10**n for n in range(6))[:quantities], customer=BOMB
    )
    return asked.model_dump_json().encode()


def bombs_beside_a_small_quote(box: Box) -> str:
    """A small quote alone, and again beside quotes of much work that another key asked for; those are cancelled in the end.

    The desk that asks for it has a key of its own: it waits behind nothing that it did not ask for itself.
    """
    with _with(box, keys_of_desks(box, 1)[0]) as sales, _with(box, box.keys["admin"]) as hostile:
        small = next(iter(distinct_requests()))
        alone_s = median([quoted_within_s(sales, small) for _ in range(3)])
        bombs = [hostile.post("/v1/quotes", content=bomb()).raise_for_status().json()["number"] for _ in range(4)]
        _wait_for_work_on(hostile, bombs[0])
        beside_s = median([quoted_within_s(sales, small) for _ in range(3)])
        for number in bombs:
            hostile.delete(f"/v1/quotes/{number}")
    return f"a small quote took {alone_s:.2f} s before and {beside_s:.2f} s beside {len(bombs)} of much work ({beside_s / alone_s:.1f} x)"


def _wait_for_work_on(client: httpx.Client, number: str) -> None:
    give_up_at = time.monotonic() + 30
    while client.get(f"/v1/quotes/{number}").json()["status"] == "accepted" and time.monotonic() < give_up_at:
        time.sleep(0.1)


def quoted_within_s(client: httpx.Client, body: bytes) -> float:
    """Seconds from asking to the outcome."""
    began = time.perf_counter()
    answer = client.post("/v1/quotes", content=json.dumps(json.loads(body) | {"customer": BOMB}), headers={"Prefer": "wait=30"})
    answer.raise_for_status()
    number = answer.json()["number"]
    while answer.status_code == 202 or answer.json().get("status") not in FINAL_STATUSES:
        if time.perf_counter() - began > READY_WITHIN_S:
            raise TimeoutError(f"{number} was not ready within {READY_WITHIN_S:g} s")
        time.sleep(0.05)
        answer = client.get(f"/v1/quotes/{number}")
    return time.perf_counter() - began


def median(values: Sequence[float]) -> float:
    """The middle one."""
    return sorted(values)[len(values) // 2]


def keys_of_desks(box: Box, many: int) -> list[str]:
    """Fresh keys of so many sales desks."""
    database = Database(box.own["database"], pool_size=1)
    try:
        keys = Keys(database)
        return [keys.add(role="sales", label=f"desk {n}", now=datetime.now(UTC)) for n in range(many)]
    finally:
        database.close()


def _with(box: Box, key: str) -> httpx.Client:
    headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
    return httpx.Client(base_url=box.url, headers=headers, timeout=40)
