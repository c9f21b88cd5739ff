"""Asking the running box for a quote, and waiting for what becomes of it."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import httpx

FINAL = ("ready", "refused", "failed")


def ask(sales: httpx.Client, request: dict[str, Any], **headers: str) -> str:
    """Send a request that must be accepted; its number."""
    answer = sales.post("/v1/quotes", json=request, headers=headers)
    assert answer.status_code == 202, answer.text
    return str(answer.json()["number"])


def finished(sales: httpx.Client, number: str, *, within_s: float = 30) -> dict[str, Any]:
    """The quote when it has its outcome."""
    give_up_at = time.monotonic() + within_s
    while time.monotonic() < give_up_at:
        quote: dict[str, Any] = sales.get(f"/v1/quotes/{number}").json()
        if quote["status"] in FINAL:
            return quote
        time.sleep(0.05)
    raise AssertionError(f"{number} was still {quote['status']} after {within_s} s")


def until(done: Callable[[], bool], *, within_s: float = 30) -> None:
    """Wait for something that another process does."""
    give_up_at = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < give_up_at, f"not within {within_s} s"
        time.sleep(0.05)
