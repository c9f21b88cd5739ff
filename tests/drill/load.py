"""Callers that do not give up: each request is sent under its own Idempotency-Key until it is accepted."""

from __future__ import annotations

import threading
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import httpx

ACCEPTED_WITHIN_S = 240.0


@dataclass(frozen=True)
class Request:
    """One request of the drill: its key, which of the distinct requests it is, and its body."""

    key: str
    kind: int
    body: bytes


@dataclass
class Sent:
    """What the callers saw."""

    numbers: dict[str, str] = field(default_factory=dict)
    tries: Counter[str] = field(default_factory=Counter)
    refused: list[str] = field(default_factory=list)


class Callers:
    """Some callers at once, who send what they are given and try again for as long as it takes."""

    def __init__(self, url: str, key: str, *, callers: int = 3) -> None:
        self._url = url
        self._headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
        self._callers = callers

    def begin(self, requests: Sequence[Request]) -> tuple[Sent, list[threading.Thread]]:
        """Start to send; what is seen is written down as it goes, and is complete when the threads have ended."""
        sent = Sent()
        waiting = list(reversed(requests))
        lock = threading.Lock()

        def work() -> None:
            with httpx.Client(base_url=self._url, headers=self._headers, timeout=20) as client:
                while True:
                    with lock:
                        if not waiting:
                            return
                        request = waiting.pop()
                    self._send(client, request, sent)

        threads = [threading.Thread(target=work, daemon=True) for _ in range(self._callers)]
        for thread in threads:
            thread.start()
        return sent, threads

    def _send(self, client: httpx.Client, request: Request, sent: Sent) -> None:
        give_up_at = time.monotonic() + ACCEPTED_WITHIN_S
        while time.monotonic() < give_up_at:
            wait_s = 0.3
            try:
                answer = client.post("/v1/quotes", content=request.body, headers={"Idempotency-Key": request.key})
            except httpx.TransportError:
                sent.tries["no answer"] += 1
            else:
                if answer.status_code == 202:
                    sent.numbers[request.key] = answer.json()["number"]
                    return
                if answer.status_code < 500:
                    sent.refused.append(f"{request.key}: {answer.status_code} {answer.text[:200]}")
                    return
                sent.tries[f"{answer.status_code} {answer.json().get('title', '')}"] += 1
                wait_s = min(float(answer.headers.get("Retry-After", wait_s)), 5.0)
            time.sleep(wait_s)
        sent.refused.append(f"{request.key}: not accepted within {ACCEPTED_WITHIN_S:g} s")
